"""Drafts, their approval, standing orders, and rules of a cold window."""

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Drafts, their approval, standing orders, and rules of a cold window."""


def downgrade() -> None:
    """Back."""
