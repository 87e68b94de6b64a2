"""Tables of counters: what meters showed and what was counted; and when somebody had their hands on it."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class CounterEntry(Row, table=True):
    """One step of a counter. A correction is an entry of its own and names what it corrects."""

    __tablename__ = "counter_entry"
    __table_args__ = (sa.Index("ix_counter_entry_of_counter", "cryostat_id", "counter", "at"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    counter: str
    kind: str
    """`reading`: a meter was read; `replaced`: another meter, read first; `counted`: one more."""
    shown: float
    """What the meter showed, in the counter's own unit; 1 for what was counted."""
    began: float = 0.0
    """What another meter showed when it was fitted."""
    corrects: int | None = Field(default=None, foreign_key="counter_entry.id", unique=True)
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class HandsOn(Row, table=True):
    """Somebody had their hands on the cryostat: an opening, a cooldown."""

    __tablename__ = "hands_on"
    __table_args__ = (sa.Index("ix_hands_on_newest", "cryostat_id", "person_id", "at"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    person_id: int | None = None
    person_name: str = ""
    at: datetime = Field(sa_type=UTC)


append_only(CounterEntry)
append_only(HandsOn)
