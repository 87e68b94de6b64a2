"""A mark of whoever answers for safety."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Nobody is marked before somebody says so."""
    op.add_column("person", sa.Column("safety", sa.Boolean(), nullable=False, server_default=sa.false()))


def downgrade() -> None:
    """Back."""
    op.drop_column("person", "safety")
