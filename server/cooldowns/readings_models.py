"""Tables of readings: hourly blocks, what was superseded, files that were sent, headers known, silences."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class ReadingBlock(Row, table=True):
    """The readings of one channel in one hour (hours since 1970 UTC), packed, with what is asked most often.

    Values stand in the channel's unit. A block grows; what it held never leaves it without a row in
    `superseded_readings`.
    """

    __tablename__ = "reading_block"

    channel_id: int = Field(foreign_key="channel.id", primary_key=True)
    hour: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    count: int
    first_ms: int = Field(sa_type=sa.BigInteger)
    last_ms: int = Field(sa_type=sa.BigInteger)
    first: float
    last: float
    low: float
    high: float
    content: bytes


class SupersededReadings(Row, table=True):
    """What stood at some moments of an hour before other values took its place, packed like a block."""

    __tablename__ = "superseded_readings"
    __table_args__ = (sa.Index("ix_superseded_readings_hour", "channel_id", "hour"),)

    id: int | None = Field(default=None, primary_key=True)
    channel_id: int = Field(foreign_key="channel.id")
    hour: int
    count: int
    content: bytes
    reason: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class LogUpload(Row, table=True):
    """A log file that somebody sent, how it is to be read, and how far it has been taken in."""

    __tablename__ = "log_upload"
    __table_args__ = (sa.Index("ix_log_upload_newest", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    file_id: int = Field(foreign_key="stored_file.id")
    sent_name: str
    reading: dict[str, Any] = Field(sa_type=sa.JSON)
    """Column → what it is, and how times are read; see `log_files`."""
    rows: int
    rows_taken: int = 0
    stored: int = 0
    """Readings that were new."""
    superseding: str = ""
    """Why values of this file take the place of others; nothing: they may not."""
    begun_at: datetime | None = Field(default=None, sa_type=UTC)
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class LogHeader(Row, table=True):
    """How a file with this header was read last on this cryostat; the newest row counts."""

    __tablename__ = "log_header"
    __table_args__ = (sa.Index("ix_log_header_newest", "cryostat_id", "digest", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    digest: str
    reading: dict[str, Any] = Field(sa_type=sa.JSON)
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Silence(Row, table=True):
    """A silence that was reported as a fault: once for each channel and last reading."""

    __tablename__ = "channel_silence"
    __table_args__ = (sa.UniqueConstraint("channel_id", "since_ms"),)

    id: int | None = Field(default=None, primary_key=True)
    channel_id: int = Field(foreign_key="channel.id")
    since_ms: int = Field(sa_type=sa.BigInteger)
    """When the last reading was, or when the channel was made."""
    fault_id: int = Field(foreign_key="fault.id")
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(ReadingBlock, ("channel_id", "hour"))
for model in (SupersededReadings, LogHeader, Silence):
    append_only(model)
append_only(LogUpload, ("cryostat_id", "file_id", "sent_name", "rows", "at", "by_name"))
