"""Table of the channels of a cryostat: what is logged, where, in which unit, how long it may be silent."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row


class Channel(Row, table=True):
    """One thing that is logged. Its readings are kept in `unit`, which stays as it is once there are any."""

    __tablename__ = "channel"
    __table_args__ = (sa.UniqueConstraint("cryostat_id", "name"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    name: str
    quantity: str
    unit: str
    stage: str = ""
    """The stage it tells of, or nothing."""
    part: str = ""
    """Tag of the thermometer, gauge or meter, or nothing."""
    silent_after_s: float | None = None
    """How long no reading is no fault; None: it may be silent."""
    ended_at: datetime | None = Field(default=None, sa_type=UTC)
    """From when on nothing is expected of it any more."""
    made_at: datetime = Field(sa_type=UTC)
