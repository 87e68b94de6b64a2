"""What was found behind a cooldown, beside what the diagnosis told."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """One table that is only ever added to."""
    op.create_table(
        "diagnosis_finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cooldown_id", sa.Integer(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cooldown_id"], ["cooldown.id"], name=op.f("fk_diagnosis_finding_cooldown_id_cooldown")
        ),
        sa.ForeignKeyConstraint(["fault_id"], ["fault.id"], name=op.f("fk_diagnosis_finding_fault_id_fault")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_diagnosis_finding")),
    )
    op.create_index("ix_diagnosis_finding_of_cooldown", "diagnosis_finding", ["cooldown_id", "id"])
    for statement in db.append_only_sql(op.get_bind().dialect.name, "diagnosis_finding"):
        op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their table."""
    op.drop_index("ix_diagnosis_finding_of_cooldown", table_name="diagnosis_finding")
    op.drop_table("diagnosis_finding")
