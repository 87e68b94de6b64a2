"""Readings of instruments in hourly blocks, the channels they belong to, the files they came in."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

TABLES = (
    "channel",
    "reading_block",
    "superseded_readings",
    "log_upload",
    "log_header",
    "channel_silence",
    "vibration_record",
)
KEPT = {
    "reading_block": ("channel_id", "hour"),
    "log_upload": ("cryostat_id", "file_id", "sent_name", "rows", "at", "by_name"),
    "superseded_readings": (),
    "log_header": (),
    "channel_silence": (),
    "vibration_record": (),
}


def upgrade() -> None:
    """The tables, and the triggers by which the database refuses to rewrite what must stay."""
    _channels()
    _blocks()
    _files()
    _others()
    dialect = op.get_bind().dialect.name
    for table, columns in KEPT.items():
        for statement in db.append_only_sql(dialect, table, columns):
            op.execute(sa.text(statement))


def _channels() -> None:
    op.create_table(
        "channel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("stage", sa.String(), nullable=False),
        sa.Column("part", sa.String(), nullable=False),
        sa.Column("silent_after_s", sa.Float(), nullable=True),
        sa.Column("ended_at", db.UTC(), nullable=True),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_channel_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channel")),
        sa.UniqueConstraint("cryostat_id", "name", name=op.f("uq_channel_cryostat_id_name")),
    )


def _blocks() -> None:
    op.create_table(
        "reading_block",
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("hour", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("first_ms", sa.BigInteger(), nullable=False),
        sa.Column("last_ms", sa.BigInteger(), nullable=False),
        sa.Column("first", sa.Float(), nullable=False),
        sa.Column("last", sa.Float(), nullable=False),
        sa.Column("low", sa.Float(), nullable=False),
        sa.Column("high", sa.Float(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channel.id"], name=op.f("fk_reading_block_channel_id_channel")
        ),
        sa.PrimaryKeyConstraint("channel_id", "hour", name=op.f("pk_reading_block")),
    )
    op.create_table(
        "superseded_readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("hour", sa.Integer(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channel.id"], name=op.f("fk_superseded_readings_channel_id_channel")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_superseded_readings")),
    )
    op.create_index("ix_superseded_readings_hour", "superseded_readings", ["channel_id", "hour"])


def _files() -> None:
    op.create_table(
        "log_upload",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("sent_name", sa.String(), nullable=False),
        sa.Column("reading", sa.JSON(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("rows_taken", sa.Integer(), nullable=False),
        sa.Column("stored", sa.Integer(), nullable=False),
        sa.Column("superseding", sa.String(), nullable=False),
        sa.Column("begun_at", db.UTC(), nullable=True),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_log_upload_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["file_id"], ["stored_file.id"], name=op.f("fk_log_upload_file_id_stored_file")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_log_upload")),
    )
    op.create_index("ix_log_upload_newest", "log_upload", ["cryostat_id", "id"])
    op.create_table(
        "log_header",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("reading", sa.JSON(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_log_header_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_log_header")),
    )
    op.create_index("ix_log_header_newest", "log_header", ["cryostat_id", "digest", "id"])


def _others() -> None:
    op.create_table(
        "channel_silence",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("since_ms", sa.BigInteger(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channel.id"], name=op.f("fk_channel_silence_channel_id_channel")
        ),
        sa.ForeignKeyConstraint(["fault_id"], ["fault.id"], name=op.f("fk_channel_silence_fault_id_fault")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channel_silence")),
        sa.UniqueConstraint("channel_id", "since_ms", name=op.f("uq_channel_silence_channel_id_since_ms")),
    )
    op.create_table(
        "vibration_record",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("sent_name", sa.String(), nullable=False),
        sa.Column("form", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("rate_Hz", sa.Float(), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("low", sa.Float(), nullable=False),
        sa.Column("high", sa.Float(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("axis", sa.String(), nullable=False),
        sa.Column("cooler", sa.String(), nullable=False),
        sa.Column("pump", sa.String(), nullable=False),
        sa.Column("taken_at", db.UTC(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_vibration_record_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["file_id"], ["stored_file.id"], name=op.f("fk_vibration_record_file_id_stored_file")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vibration_record")),
    )
    op.create_index("ix_vibration_record_newest", "vibration_record", ["cryostat_id", "id"])


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    for table in reversed(TABLES):
        op.drop_table(table)
