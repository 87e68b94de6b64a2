"""Samples, parts, ports in full, and counters."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

APPEND_ONLY = (
    "counter_entry",
    "hands_on",
    "planned_sample",
    "planned_step",
    "part_photograph",
    "part_withdrawal",
    "port_retired",
)


def upgrade() -> None:
    """New tables that nobody rewrites."""
    _counters()
    _planned_samples()
    _part_photographs()
    _ports()
    # In use follows from the elements from now on, and is no longer told.
    op.execute("UPDATE part SET state = 'shelf' WHERE state = 'in-use'")
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


def _planned_samples() -> None:
    op.create_table(
        "planned_sample",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("owner_id", sa.Integer(), nullable=False),
        sa.Column("owner_name", sa.String(), nullable=False),
        sa.Column("hazard", sa.String(), nullable=False),
        sa.Column("if_breaks", sa.String(), nullable=False),
        sa.Column("carrier", sa.String(), nullable=False),
        sa.Column("attach", sa.String(), nullable=False),
        sa.Column("attached_on", sa.Date(), nullable=True),
        sa.Column("mount", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["draft_id"], ["draft.id"], name=op.f("fk_planned_sample_draft_id_draft")),
        sa.ForeignKeyConstraint(["owner_id"], ["person.id"], name=op.f("fk_planned_sample_owner_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planned_sample")),
    )
    op.create_index(op.f("ix_planned_sample_draft_id"), "planned_sample", ["draft_id"])
    op.create_table(
        "planned_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("planned_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=True),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["planned_id"], ["planned_sample.id"], name=op.f("fk_planned_step_planned_id_planned_sample")
        ),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_planned_step_sample_id_sample")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planned_step")),
        sa.UniqueConstraint("planned_id", name=op.f("uq_planned_step_planned_id")),
    )


def _part_photographs() -> None:
    op.create_table(
        "part_photograph",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("caption", sa.String(), nullable=False),
        sa.Column("sent_name", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_part_photograph_part_id_part")),
        sa.ForeignKeyConstraint(
            ["file_id"], ["stored_file.id"], name=op.f("fk_part_photograph_file_id_stored_file")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_photograph")),
    )
    op.create_index(op.f("ix_part_photograph_part_id"), "part_photograph", ["part_id"])
    op.create_table(
        "part_withdrawal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("photograph_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["photograph_id"],
            ["part_photograph.id"],
            name=op.f("fk_part_withdrawal_photograph_id_part_photograph"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_withdrawal")),
        sa.UniqueConstraint("photograph_id", name=op.f("uq_part_withdrawal_photograph_id")),
    )


def _ports() -> None:
    op.add_column("port", sa.Column("carries", sa.String(), server_default="dc", nullable=False))
    op.create_table(
        "port_retired",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("port_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["port_id"], ["port.id"], name=op.f("fk_port_retired_port_id_port")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_port_retired")),
        sa.UniqueConstraint("port_id", name=op.f("uq_port_retired_port_id")),
    )


def downgrade() -> None:
    """Back; the triggers of a table go with it."""
    for table in reversed(APPEND_ONLY):
        op.drop_table(table)
    op.drop_column("port", "carries")
