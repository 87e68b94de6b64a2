"""Training: plans and evidence."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """The tables; the database refuses to rewrite evidence."""
    op.create_table(
        "training",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("person_name", sa.String(), nullable=False),
        sa.Column("grade", sa.Integer(), nullable=False),
        sa.Column("mentor", sa.String(), nullable=False),
        sa.Column("next_on", sa.Date(), nullable=True),
        sa.Column("next_what", sa.String(), nullable=False),
        sa.Column("begun_at", db.UTC(), nullable=False),
        sa.Column("signed_at", db.UTC(), nullable=True),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_training_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_training_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_training")),
    )
    op.create_index("ix_training_of_cryostat", "training", ["cryostat_id", "signed_at"])
    op.create_table(
        "training_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("training_id", sa.Integer(), nullable=False),
        sa.Column("line_key", sa.String(), nullable=False),
        sa.Column("evidence", sa.String(), nullable=False),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("trainer", sa.String(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["training_id"], ["training.id"], name=op.f("fk_training_entry_training_id_training")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_training_entry")),
    )
    op.create_index("ix_training_entry_of_training", "training_entry", ["training_id", "id"])
    for statement in db.append_only_sql(op.get_bind().dialect.name, "training_entry"):
        op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    op.drop_table("training_entry")
    op.drop_table("training")
