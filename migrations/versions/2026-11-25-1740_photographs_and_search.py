"""Photographs and drawings of a configuration, and the files they are in."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

APPEND_ONLY = ("stored_file", "photograph", "photograph_withdrawal")


def upgrade() -> None:
    """Three tables, none of which the database lets anybody rewrite."""
    op.create_table(
        "stored_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=True),
        sa.Column("height_px", sa.Integer(), nullable=True),
        sa.Column("small_digest", sa.String(), nullable=True),
        sa.Column("kept_at", db.UTC(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stored_file")),
        sa.UniqueConstraint("digest", name=op.f("uq_stored_file_digest")),
    )
    op.create_table(
        "photograph",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("element_key", sa.String(), nullable=True),
        sa.Column("lag_stage", sa.String(), nullable=True),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("caption", sa.String(), nullable=False),
        sa.Column("sent_name", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_photograph_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["file_id"], ["stored_file.id"], name=op.f("fk_photograph_file_id_stored_file")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photograph")),
    )
    op.create_index("ix_photograph_of_revision", "photograph", ["cryostat_id", "revision"])
    op.create_table(
        "photograph_withdrawal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("photograph_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["photograph_id"],
            ["photograph.id"],
            name=op.f("fk_photograph_withdrawal_photograph_id_photograph"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photograph_withdrawal")),
        sa.UniqueConstraint("photograph_id", name=op.f("uq_photograph_withdrawal_photograph_id")),
    )
    dialect = op.get_bind().dialect.name
    for table in APPEND_ONLY:
        for statement in db.append_only_sql(dialect, table):
            op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    op.drop_table("photograph_withdrawal")
    op.drop_index("ix_photograph_of_revision", table_name="photograph")
    op.drop_table("photograph")
    op.drop_table("stored_file")
