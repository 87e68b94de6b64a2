"""Books from before freezing days, countries and the wider search keep what they hold, and are found."""

import sqlalchemy as sa
from alembic import command
from sqlmodel import Session

from server import tables
from server.cryostats import drafts, searching
from server.cryostats.draft_rules import FROZEN
from server.cryostats.search_models import INDEX
from server.db import make_engine
from tests.migrations.test_samples_parts_counters import CRYOSTAT, put

LABORATORY = {"id": 1, "name": "Cold cellar", "zone": "Europe/Berlin", "working_days": "12345"}
HOURS = {"opens": "08:00:00", "closes": "18:00:00"}
# As JSON was stored: the umlaut as an escape, which nobody types when searching.
LOOM = r'[{"key": "loom", "kind": "wire", "label": "L\u00f6tprobe", "data": {}}]'
VERSION = {"id": 1, "draft_id": 1, "number": 1, "base_revision": 0, "remove": "[]", "parties": "[]"}


def an_old_book(database_url: str) -> None:
    """A laboratory and a draft that was agreed to, at revision 0005, with an index that knows neither."""
    command.downgrade(tables.schema_config(database_url), "0005")
    engine = make_engine(database_url)
    with engine.begin() as connection:
        put(connection, "laboratory", LABORATORY | HOURS)
        put(connection, "cryostat", CRYOSTAT | {"limits_K": "{}", "vessel_K": 295, "revision": 0})
        put(connection, "draft", {"id": 1, "cryostat_id": 1, "name": "Kühler", "house": 0, "version": 1})
        put(connection, "draft_version", VERSION | {"put": LOOM, "reason": "Für März"})
        for number, what in ((1, "asked"), (2, "approved")):
            step = {"id": number, "draft_id": 1, "version": 1, "what": what, "note": ""}
            put(connection, "draft_step", step)
        connection.execute(sa.text(f"DELETE FROM {INDEX}"))  # noqa: S608 - a name of our own
    engine.dispose()


def test_an_old_laboratory_names_no_country_and_an_old_agreed_draft_is_frozen_since_then(
    database_url: str,
) -> None:
    an_old_book(database_url)
    tables.upgrade(database_url)
    engine = make_engine(database_url)
    with Session(engine) as session:
        assert session.execute(sa.text("SELECT name, country FROM laboratory")).one() == ("Cold cellar", "")
        standing = drafts.find(session, 1).standing
        assert (standing.state, standing.freeze_on, standing.build_on) == (FROZEN, None, None)
        assert [step.override for step in drafts.find(session, 1).steps] == ["", ""]
    engine.dispose()


def test_old_words_with_accents_are_found_once_the_index_is_made_anew(database_url: str) -> None:
    an_old_book(database_url)
    tables.upgrade(database_url)
    engine = make_engine(database_url)
    with Session(engine) as session:
        for words in ("lötprobe", "kühler", "März"):
            assert [hit.address for hit in searching.by_words(session, words)] == ["/drafts/1?version=1"], (
                words
            )
    engine.dispose()
