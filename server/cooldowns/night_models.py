"""Tables of the night: this cryostat's numbers, whom to call, who swapped, what was seen and done.

None is edited: a steward's new text is the next version, a swap and a record are rows of their own.
"""

from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class NightRule(Row, table=True):
    """One version of the numbers of a cryostat that decide about cooling and about starting again."""

    __tablename__ = "night_rule"
    __table_args__ = (sa.UniqueConstraint("cryostat_id", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    number: int
    go_Pa: float | None = None
    """Cooling begins below this pressure; None: nobody has said."""
    restart_Pa: float | None = None
    """Above this pressure nobody starts it again; None: nobody has said, so nobody does."""
    longest_stop_s: float | None = None
    """Stopped for longer than this, nobody starts it again."""
    restarts_itself: str = "not-recorded"
    decides: str = ""
    """The person or the post that decides."""
    donts: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    words: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class NightRoster(Row, table=True):
    """One version of whom to call, in order; of one cryostat, or of the laboratory."""

    __tablename__ = "night_roster"
    __table_args__ = (sa.Index("ix_night_roster_newest", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int | None = Field(default=None, foreign_key="cryostat.id")
    contacts: list[dict[str, Any]] = Field(sa_type=sa.JSON)
    """In call order: name, phone, what they may do, after how many minutes, nights of the week."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class NightSwap(Row, table=True):
    """Somebody takes a night of somebody else; of two for one night and name, the newer counts."""

    __tablename__ = "night_swap"
    __table_args__ = (sa.Index("ix_night_swap_night", "cryostat_id", "night"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    night: date
    """The day on whose evening it begins, on the laboratory's clock."""
    instead_of: str
    name: str
    phone: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class NightRecord(Row, table=True):
    """What somebody saw and did when cooling had stopped."""

    __tablename__ = "night_record"
    __table_args__ = (sa.Index("ix_night_record_newest", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    cooldown_id: int | None = Field(default=None, foreign_key="cooldown.id")
    seen_at: datetime = Field(sa_type=UTC)
    seen: str
    stopped_at: datetime | None = Field(default=None, sa_type=UTC)
    pressure_Pa: float | None = None
    called: str = ""
    left: str = ""
    """How it was left."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


for model in (NightRule, NightRoster, NightSwap, NightRecord):
    append_only(model)
