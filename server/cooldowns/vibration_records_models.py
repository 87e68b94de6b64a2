"""Table of vibration records: the raw file, and what one must know of it to read it."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class VibrationRecord(Row, table=True):
    """One record of one sensor along one axis. It is never altered; a later one may be taken again."""

    __tablename__ = "vibration_record"
    __table_args__ = (sa.Index("ix_vibration_record_newest", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    revision: int
    file_id: int = Field(foreign_key="stored_file.id")
    sent_name: str
    form: str
    """How the file holds its samples: text, wav or npy; or spectrum."""
    unit: str
    rate_Hz: float
    """0 for a spectrum."""
    bandwidth_Hz: float | None = None
    """Noise bandwidth of the window of a spectrum, where it was said."""
    samples: int
    """How many values there are; the lines of a spectrum."""
    low: float
    high: float
    place: str
    axis: str
    cooler: str
    pump: str
    taken_at: datetime = Field(sa_type=UTC)
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(VibrationRecord)
