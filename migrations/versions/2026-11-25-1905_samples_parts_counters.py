"""Samples, parts, ports in full, and counters."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

APPEND_ONLY = ("counter_entry", "hands_on")


def upgrade() -> None:
    """New tables that nobody rewrites."""
    _counters()
    for table in APPEND_ONLY:
        for statement in db.append_only_sql(op.get_bind().dialect.name, table):
            op.execute(sa.text(statement.replace(":", "\\:")))


def _counters() -> None:
    op.create_table(
        "counter_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("counter", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("shown", sa.Float(), nullable=False),
        sa.Column("began", sa.Float(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("recorded_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_counter_entry_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["corrects"], ["counter_entry.id"], name=op.f("fk_counter_entry_corrects_counter_entry")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_counter_entry")),
        sa.UniqueConstraint("corrects", name=op.f("uq_counter_entry_corrects")),
    )
    op.create_index("ix_counter_entry_of_counter", "counter_entry", ["cryostat_id", "counter", "at"])
    op.create_table(
        "hands_on",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("person_name", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_hands_on_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hands_on")),
    )
    op.create_index("ix_hands_on_newest", "hands_on", ["cryostat_id", "person_id", "at"])


def downgrade() -> None:
    """Back; the triggers of a table go with it."""
    for table in reversed(APPEND_ONLY):
        op.drop_table(table)
