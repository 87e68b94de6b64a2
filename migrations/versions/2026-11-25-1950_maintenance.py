"""Maintenance: tasks, what was done about them, photographs."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """The tables; the database refuses to rewrite what was done."""
    op.create_table(
        "maintenance_task",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        *_texts("kind", "name", "text", "who"),
        sa.Column("limits", sa.JSON(), nullable=False),
        *_texts("condition"),
        sa.Column("marks", sa.JSON(), nullable=False),
        sa.Column("parts", sa.JSON(), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=False),
        sa.Column("down_h", sa.Float(), nullable=False),
        sa.Column("stops_work", sa.Boolean(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        *_texts("return_stage"),
        sa.Column("return_K", sa.Float(), nullable=True),
        sa.Column("return_within_K", sa.Float(), nullable=True),
        *_texts("return_name"),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        _belongs("maintenance_task", "cryostat_id", "cryostat"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_maintenance_task")),
    )
    op.create_index("ix_maintenance_task_of_cryostat", "maintenance_task", ["cryostat_id", "retired"])
    op.create_table(
        "maintenance_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("task_id", sa.Integer(), nullable=False),
        *_texts("kind"),
        sa.Column("at", db.UTC(), nullable=False),
        *_texts("text"),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("recorded_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        _belongs("maintenance_entry", "task_id", "maintenance_task"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_maintenance_entry")),
    )
    op.create_index("ix_maintenance_entry_of_task", "maintenance_entry", ["task_id", "id"])
    op.create_table(
        "maintenance_photograph",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("task_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        *_texts("caption"),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        _belongs("maintenance_photograph", "task_id", "maintenance_task"),
        _belongs("maintenance_photograph", "file_id", "stored_file"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_maintenance_photograph")),
    )
    op.create_index("ix_maintenance_photograph_of_task", "maintenance_photograph", ["task_id", "id"])
    for table in ("maintenance_entry", "maintenance_photograph"):
        for statement in db.append_only_sql(op.get_bind().dialect.name, table):
            op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    for table in ("maintenance_photograph", "maintenance_entry", "maintenance_task"):
        op.drop_table(table)


def _texts(*names: str) -> tuple[sa.Column[str], ...]:
    return tuple(sa.Column(name, sa.String(), nullable=False) for name in names)


def _belongs(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))
