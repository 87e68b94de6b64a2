"""A laboratory's own materials, each version a row."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """The table, and the triggers by which the database refuses to rewrite it."""
    op.create_table(
        "own_material_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("points", sa.JSON(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("relative_uncertainty", sa.Float(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_own_material_version")),
        sa.UniqueConstraint("name", "number", name=op.f("uq_own_material_version_name_number")),
    )
    for statement in db.append_only_sql(op.get_bind().dialect.name, "own_material_version"):
        op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their table."""
    op.drop_table("own_material_version")
