"""${message}

House rules: one change per file, dated name, constraints named by the convention in server/db.py, data moved
along, a test in tests/migrations that upgrades old rows on both engines. Triggers are made again after a batch.
"""

import sqlalchemy as sa
from alembic import op

import server.db
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = ${repr(branch_labels)}
depends_on = ${repr(depends_on)}


def upgrade() -> None:
    """${message}."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """Back."""
    ${downgrades if downgrades else "pass"}
