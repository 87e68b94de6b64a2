"""Photographs and files, and the index that search reads."""

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Photographs and files, and the index that search reads."""


def downgrade() -> None:
    """Back."""
