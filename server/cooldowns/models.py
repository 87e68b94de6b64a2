"""Tables of cooldowns: each one's span, what was expected of it, every entry made in it, breaks in the trend.

An entry is never edited: one that was wrong is taken back by a later one, which names it and says why. What
was expected is written before cooling begins and stands.
"""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Cooldown(Row, table=True):
    """One cold stretch. Its moments are those of its entries, kept here for looking up."""

    __tablename__ = "cooldown"
    __table_args__ = (
        sa.UniqueConstraint("cryostat_id", "number"),
        sa.Index(
            "uq_cooldown_under_way",
            "cryostat_id",
            unique=True,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    number: int
    purpose: str = ""
    begun_at: datetime = Field(sa_type=UTC)
    """From when on it was pumped for this cooldown."""
    started_at: datetime | None = Field(default=None, sa_type=UTC)
    warming_at: datetime | None = Field(default=None, sa_type=UTC)
    ended_at: datetime | None = Field(default=None, sa_type=UTC)
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Expectation(Row, table=True):
    """What was expected of a cooldown, written down before it began; the newest row counts."""

    __tablename__ = "cooldown_expectation"
    __table_args__ = (sa.Index("ix_cooldown_expectation_newest", "cooldown_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cooldown_id: int = Field(foreign_key="cooldown.id")
    revision: int
    budget_id: int = Field(foreign_key="heat_budget.id")
    temperatures_K: dict[str, list[float | None]] = Field(sa_type=sa.JSON)
    """Stage → low, best, high of the central 95 %, as in a document."""
    times: dict[str, Any] = Field(sa_type=sa.JSON)
    """When its coldest cooled stage should reach what: `stage`, `words` on how it is known, and `rows`."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class CooldownEntry(Row, table=True):
    """One thing written down in a cooldown: a pressure, a mark, the base, a remark. `data` is SI."""

    __tablename__ = "cooldown_entry"
    __table_args__ = (sa.Index("ix_cooldown_entry_of_cooldown", "cooldown_id", "at"),)

    id: int | None = Field(default=None, primary_key=True)
    cooldown_id: int = Field(foreign_key="cooldown.id")
    kind: str
    at: datetime = Field(sa_type=UTC)
    data: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    note: str = ""
    takes_back: int | None = Field(default=None, foreign_key="cooldown_entry.id")
    """The entry that no longer counts; this one says why, and what holds instead if it has data."""
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class CooldownPicture(Row, table=True):
    """A photograph taken in a cooldown."""

    __tablename__ = "cooldown_picture"
    __table_args__ = (sa.Index("ix_cooldown_picture_of_cooldown", "cooldown_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cooldown_id: int = Field(foreign_key="cooldown.id")
    file_id: int = Field(foreign_key="stored_file.id")
    caption: str
    sent_name: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class TrendBreak(Row, table=True):
    """From `at` on, this cryostat is not compared with what it was before: a service, a move."""

    __tablename__ = "trend_break"
    __table_args__ = (sa.Index("ix_trend_break_newest", "cryostat_id", "at"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    at: datetime = Field(sa_type=UTC)
    reason: str
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


COOLDOWN_KEPT = ("cryostat_id", "number", "purpose", "begun_at", "recorded_at", "by_name", "by_id")
"""What of a cooldown no update may touch; only its later moments are set, once each."""

append_only(Cooldown, COOLDOWN_KEPT)
for model in (Expectation, CooldownEntry, CooldownPicture, TrendBreak):
    append_only(model)
