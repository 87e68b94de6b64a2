"""The days of a draft's agreement, public holidays, and a search that reads drafts, samples and accents."""

import sqlalchemy as sa
from alembic import op

from server.cryostats import search_models

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

STEP_COLUMNS = ("build_on", "freeze_on")
SEARCHED = (
    "element",
    "revision",
    "part",
    "part_entry",
    "part_loan",
    "dirt_entry",
    "continuity_test",
    "continuity_line",
    "pin_entry",
    "history_entry",
    "draft_version",
    "draft_step",
    "sample",
    "sample_step",
)
"""Tables whose words are in the index from here on."""


def upgrade() -> None:
    """Plain columns are added without touching the table, so its triggers stay."""
    for name in STEP_COLUMNS:
        op.add_column("draft_step", sa.Column(name, sa.Date(), nullable=True))
    op.add_column("draft_step", sa.Column("override", sa.String(), nullable=False, server_default=""))
    op.add_column("laboratory", sa.Column("country", sa.String(), nullable=False, server_default=""))
    _index_anew(op.get_bind().dialect.name)


def _index_anew(dialect: str) -> None:
    """The triggers of the index as they are now, and the index filled from what is there."""
    op.execute(f"DELETE FROM {search_models.INDEX}")  # noqa: S608 - a name of our own
    for table in SEARCHED:
        on = "" if dialect == "sqlite" else f" ON {table}"
        _run(f"DROP TRIGGER IF EXISTS {table}_words{on}")
        _run(search_models.filling(dialect, table))
        for statement in search_models.watching(dialect, table):
            _run(statement)


def _run(statement: str) -> None:
    op.execute(sa.text(statement.replace(":", "\\:")))


def downgrade() -> None:
    """The days go, and with them why one was late."""
    op.drop_column("laboratory", "country")
    for name in ("override", *STEP_COLUMNS):
        op.drop_column("draft_step", name)
