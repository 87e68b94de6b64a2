"""Drafts, their approval, standing orders, rules of a cold window, and the sample."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

DRAFT_KEPT = ("cryostat_id", "house", "made_at", "by_name", "by_id")
APPEND_ONLY = {
    "draft": DRAFT_KEPT,
    "draft_version": (),
    "draft_step": (),
    "draft_budget": (),
    "standing_order": (),
    "window_rule": (),
    "sample": (),
    "sample_step": (),
}


def upgrade() -> None:
    """The tables, and the triggers by which the database refuses to rewrite them."""
    _drafts()
    _draft_steps()
    _orders()
    _samples()
    dialect = op.get_bind().dialect.name
    for table, columns in APPEND_ONLY.items():
        for statement in db.append_only_sql(dialect, table, columns):
            op.execute(sa.text(statement))


def _drafts() -> None:
    op.create_table(
        "draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("house", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_draft_by_id_person")),
        sa.ForeignKeyConstraint(["cryostat_id"], ["cryostat.id"], name=op.f("fk_draft_cryostat_id_cryostat")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft")),
    )
    op.create_index(op.f("ix_draft_cryostat_id"), "draft", ["cryostat_id"])
    op.create_index(
        "uq_draft_house",
        "draft",
        ["cryostat_id"],
        unique=True,
        sqlite_where=sa.text("house"),
        postgresql_where=sa.text("house"),
    )
    op.create_table(
        "draft_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("base_revision", sa.Integer(), nullable=False),
        sa.Column("put", sa.JSON(), nullable=False),
        sa.Column("remove", sa.JSON(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("parties", sa.JSON(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["draft_id"], ["draft.id"], name=op.f("fk_draft_version_draft_id_draft")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft_version")),
        sa.UniqueConstraint("draft_id", "number", name=op.f("uq_draft_version_draft_id_number")),
    )


def _draft_steps() -> None:
    op.create_table(
        "draft_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=True),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["draft_id"], ["draft.id"], name=op.f("fk_draft_step_draft_id_draft")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft_step")),
    )
    op.create_index("ix_draft_step_of_draft", "draft_step", ["draft_id", "id"])
    op.create_table(
        "draft_budget",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("cooler_version", sa.Integer(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["draft_id"], ["draft.id"], name=op.f("fk_draft_budget_draft_id_draft")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft_budget")),
    )
    op.create_index("ix_draft_budget_newest", "draft_budget", ["draft_id", "version", "id"])


def _orders() -> None:
    op.create_table(
        "standing_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scope", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_standing_order")),
        sa.UniqueConstraint("scope", "number", name=op.f("uq_standing_order_scope_number")),
    )
    op.create_table(
        "window_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("operate", sa.String(), nullable=False),
        sa.Column("open", sa.String(), nullable=False),
        sa.Column("rewire", sa.String(), nullable=False),
        sa.Column("record", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_window_rule_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_window_rule")),
    )
    op.create_index("ix_window_rule_newest", "window_rule", ["cryostat_id", "what", "id"])


def _samples() -> None:
    op.create_table(
        "sample",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
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
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_sample_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(["owner_id"], ["person.id"], name=op.f("fk_sample_owner_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sample")),
    )
    op.create_index("ix_sample_of_cryostat", "sample", ["cryostat_id", "id"])
    op.create_table(
        "sample_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_sample_step_sample_id_sample")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sample_step")),
        sa.UniqueConstraint("sample_id", "what", name=op.f("uq_sample_step_sample_id_what")),
    )


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    for table in reversed(APPEND_ONLY):
        op.drop_table(table)
