"""Parts with identity, ports with pins, continuity, dirt and gas."""

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Parts with identity, ports with pins, continuity, dirt and gas."""


def downgrade() -> None:
    """Back."""
