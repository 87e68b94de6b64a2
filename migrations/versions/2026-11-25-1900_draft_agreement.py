"""The days of a draft's agreement, and whose public holidays a laboratory keeps."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

STEP_COLUMNS = ("build_on", "freeze_on")


def upgrade() -> None:
    """Plain columns are added without touching the table, so its triggers stay."""
    for name in STEP_COLUMNS:
        op.add_column("draft_step", sa.Column(name, sa.Date(), nullable=True))
    op.add_column("draft_step", sa.Column("override", sa.String(), nullable=False, server_default=""))
    op.add_column("laboratory", sa.Column("country", sa.String(), nullable=False, server_default=""))


def downgrade() -> None:
    """The days go, and with them why one was late."""
    op.drop_column("laboratory", "country")
    for name in ("override", *STEP_COLUMNS):
        op.drop_column("draft_step", name)
