"""A vibration record may be a spectrum: the noise bandwidth of its window, where somebody knows it."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """One column; earlier records are samples and have none."""
    op.add_column("vibration_record", sa.Column("bandwidth_Hz", sa.Float(), nullable=True))


def downgrade() -> None:
    """Back. The column has no constraint, so SQLite drops it without a new table, and triggers stay."""
    op.drop_column("vibration_record", "bandwidth_Hz")
