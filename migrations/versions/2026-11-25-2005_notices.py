"""Letters of the day, calendars of due days, cards of the oxygen arithmetic."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None

APPEND_ONLY: dict[str, tuple[str, ...]] = {
    "digest_choice": (),
    "digest_turn": (),
    "due_feed": ("key", "prefix", "person_id", "made_at"),
    "oxygen_card": (),
}


def upgrade() -> None:
    """New tables, and the database's own refusal to rewrite what is written once."""
    op.create_table(
        "digest_choice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("wanted", sa.Boolean(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_digest_choice_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_digest_choice")),
    )
    op.create_index(op.f("ix_digest_choice_person_id"), "digest_choice", ["person_id"], unique=False)
    op.create_table(
        "digest_turn",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("lines", sa.Integer(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_digest_turn_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_digest_turn")),
        sa.UniqueConstraint("person_id", "day", name=op.f("uq_digest_turn_person_id_day")),
    )
    op.create_table(
        "due_feed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("prefix", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("revoked_at", db.UTC(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_due_feed_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_due_feed")),
        sa.UniqueConstraint("key", name=op.f("uq_due_feed_key")),
    )
    op.create_index(op.f("ix_due_feed_person_id"), "due_feed", ["person_id"], unique=False)
    op.create_table(
        "oxygen_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("room", sa.String(), nullable=False),
        sa.Column("gas", sa.String(), nullable=False),
        sa.Column("volume_m3", sa.Float(), nullable=False),
        sa.Column("release_m3", sa.Float(), nullable=False),
        sa.Column("rate_m3_s", sa.Float(), nullable=False),
        sa.Column("duration_s", sa.Float(), nullable=False),
        sa.Column("air_changes_per_h", sa.Float(), nullable=False),
        sa.Column("sudden_share", sa.Float(), nullable=False),
        sa.Column("slow_share", sa.Float(), nullable=False),
        sa.Column("sealed_share", sa.Float(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oxygen_card")),
    )
    dialect = op.get_bind().dialect.name
    for table, columns in APPEND_ONLY.items():
        for statement in db.append_only_sql(dialect, table, columns):
            op.execute(sa.text(statement.replace(":", "\\:")))


def downgrade() -> None:
    """Take the tables away."""
    for table in reversed(APPEND_ONLY):
        op.drop_table(table)
