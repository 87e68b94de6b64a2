"""What a stored budget says of the materials it used, and what a cryostat's cooldown is told from."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """A column that stays empty in budgets stored before, and a table nobody rewrites."""
    for table in ("heat_budget", "draft_budget"):
        op.add_column(table, sa.Column("own_materials", sa.JSON(none_as_null=True), nullable=True))
    op.create_table(
        "cooldown_basis",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_cooldown_basis_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cooldown_basis")),
        sa.UniqueConstraint("cryostat_id", "number", name=op.f("uq_cooldown_basis_cryostat_id_number")),
    )
    for statement in db.append_only_sql(op.get_bind().dialect.name, "cooldown_basis"):
        op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their table."""
    op.drop_table("cooldown_basis")
    for table in ("heat_budget", "draft_budget"):
        op.drop_column(table, "own_materials")
