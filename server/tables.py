"""Every table, imported in one place so that migrations and tests see them all; and the way up to them."""

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from server import jobs
from server.bookings import account_models, feeds_models
from server.bookings import models as bookings
from server.cautions import models as cautions
from server.cautions import oxygen_models
from server.charges import models as charges
from server.checklists import models as checklists
from server.cooldowns import (
    channels_models,
    diagnosis_models,
    night_models,
    readings_models,
    vibration_records_models,
)
from server.cooldowns import models as cooldowns
from server.cryostats import (
    cooldown_basis_models,
    counter_models,
    dirt_models,
    draft_models,
    part_models,
    photograph_models,
    port_models,
    samples_models,
    search_models,
    window_models,
)
from server.cryostats import models as cryostats
from server.db import Row
from server.faults import models as faults
from server.files import models as files
from server.history import models as history
from server.laboratory import models as laboratory
from server.laboratory import order_models
from server.mail import models as mail
from server.maintenance import models as maintenance
from server.materials import models as materials
from server.notices import models as notices
from server.openings import models as openings
from server.people import mail_models
from server.people import models as people
from server.settings import HOUSE
from server.stock import models as stock
from server.training import models as training

SLICES = (
    jobs,
    mail,
    files,
    history,
    laboratory,
    order_models,
    people,
    mail_models,
    cautions,
    oxygen_models,
    materials,
    cryostats,
    draft_models,
    samples_models,
    window_models,
    photograph_models,
    part_models,
    port_models,
    dirt_models,
    search_models,
    counter_models,
    cooldown_basis_models,
    stock,
    faults,
    checklists,
    openings,
    channels_models,
    readings_models,
    vibration_records_models,
    cooldowns,
    night_models,
    diagnosis_models,
    bookings,
    account_models,
    charges,
    feeds_models,
    maintenance,
    training,
    notices,
)
metadata = Row.metadata
ours = search_models.ours
"""What of a database is described by the models; the rest the database keeps by itself."""

MIGRATIONS = HOUSE / "migrations"


def schema_config(url: str) -> Config:
    """What Alembic needs to know to work on the database at `url`."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("version_locations", str(MIGRATIONS / "versions"))
    config.set_main_option("path_separator", "newline")
    config.set_main_option(
        "file_template", "%%(year)d-%%(month).2d-%%(day).2d-%%(hour).2d%%(minute).2d_%%(slug)s"
    )
    config.set_main_option("sqlalchemy.url", url.replace("%", "%%"))
    return config


def schemas() -> set[str]:
    """The names of every schema this program knows how to come from."""
    return {script.revision for script in ScriptDirectory.from_config(schema_config("")).walk_revisions()}


def upgrade(url: str, to: str = "head") -> None:
    """Bring the database at `url` to the schema of this program."""
    command.upgrade(schema_config(url), to)
