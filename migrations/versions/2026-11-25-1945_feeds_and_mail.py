"""Feeds and the outbox."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

APPEND_ONLY: dict[str, tuple[str, ...]] = {
    "letter": ("message_id", "to_address", "subject", "body", "about", "made_at"),
    "mail_address": (),
    "feed_address": ("key", "prefix", "person_id", "kind", "cryostat_id", "made_at"),
}


def upgrade() -> None:
    """New tables, and the database's own refusal to rewrite what is written once."""
    _tables()
    dialect = op.get_bind().dialect.name
    for table, columns in APPEND_ONLY.items():
        for statement in db.append_only_sql(dialect, table, columns):
            op.execute(sa.text(statement.replace(":", "\\:")))


def _tables() -> None:
    op.create_table(
        "lease",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("holder", sa.String(), nullable=False),
        sa.Column("until", db.UTC(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_lease")),
    )
    op.create_table(
        "letter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.String(), nullable=False),
        sa.Column("to_address", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("due_at", db.UTC(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("tried_at", db.UTC(), nullable=True),
        sa.Column("tried_by", sa.String(), nullable=False),
        sa.Column("ended_at", db.UTC(), nullable=True),
        sa.Column("trouble", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_letter")),
        sa.UniqueConstraint("message_id", name=op.f("uq_letter_message_id")),
    )
    op.create_index("ix_letter_by_state", "letter", ["state", "due_at"], unique=False)
    op.create_table(
        "mail_address",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_mail_address_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mail_address")),
    )
    op.create_index("ix_mail_address_of_person", "mail_address", ["person_id", "id"], unique=False)
    op.create_table(
        "feed_address",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("prefix", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=True),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("revoked_at", db.UTC(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_feed_address_person_id_person")),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_feed_address_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_feed_address")),
        sa.UniqueConstraint("key", name=op.f("uq_feed_address_key")),
    )
    op.create_index("ix_feed_address_person_id", "feed_address", ["person_id"], unique=False)


def downgrade() -> None:
    """Back; triggers go with their tables."""
    for table in (*reversed(APPEND_ONLY), "lease"):
        op.drop_table(table)
