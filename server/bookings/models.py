"""Tables of the bookings: who has a cryostat when, holds, what happened to each, and who was told.

`occupancy` is the one table in which the database itself refuses overlap; a booking and a hold refer to it.
A booking is a plan and moves; every step of it is kept in `booking_step`, which nobody rewrites.
"""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import ExcludeConstraint
from sqlmodel import Field

from server.db import UTC, Row, append_only

NO_OVERLAP = "occupancy_no_overlap"
GIST = "CREATE EXTENSION IF NOT EXISTS btree_gist"


class Occupancy(Row, table=True):
    """A stretch of time in which a cryostat belongs to one booking or one hold; half-open."""

    __tablename__ = "occupancy"
    __table_args__ = (
        sa.CheckConstraint("starts < ends", name="order"),
        sa.Index("ix_occupancy_of_cryostat", "cryostat_id", "starts"),
    )

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    starts: datetime = Field(sa_type=UTC)
    ends: datetime = Field(sa_type=UTC)
    kind: str


def overlap_sql(dialect: str) -> tuple[str, ...]:
    """The statements by which the database refuses two occupancies of one cryostat at once."""
    if dialect == "postgresql":
        return ()
    others = "o.cryostat_id = NEW.cryostat_id AND o.starts < NEW.ends AND o.ends > NEW.starts"
    refuse = f"SELECT RAISE(ABORT, '{NO_OVERLAP}') WHERE EXISTS (SELECT 1 FROM occupancy o WHERE {others}"  # noqa: S608 - no text of anybody's
    return (
        f"CREATE TRIGGER {NO_OVERLAP}_insert BEFORE INSERT ON occupancy BEGIN {refuse}); END",
        (
            f"CREATE TRIGGER {NO_OVERLAP}_update BEFORE UPDATE OF cryostat_id, starts, ends ON occupancy "
            f"BEGIN {refuse} AND o.id <> NEW.id); END"
        ),
    )


def exclusion() -> ExcludeConstraint:
    """The same on PostgreSQL, as a constraint."""
    return ExcludeConstraint(
        (sa.column("cryostat_id"), "="),
        (sa.text("tstzrange(starts, ends)"), "&&"),
        name=NO_OVERLAP,
        using="gist",
    )


def _guard_occupancy() -> None:
    table: sa.Table = Occupancy.__table__  # type: ignore[attr-defined]
    gist = sa.DDL(GIST)  # type: ignore[no-untyped-call]
    sa.event.listen(table, "before_create", gist.execute_if(dialect="postgresql"))
    table.append_constraint(exclusion().ddl_if(dialect="postgresql"))
    for statement in overlap_sql("sqlite"):
        ddl = sa.DDL(statement)  # type: ignore[no-untyped-call]
        sa.event.listen(table, "after_create", ddl.execute_if(dialect="sqlite"))


_guard_occupancy()


class Group(Row, table=True):
    """A group that shares the cryostats; `share` is its part of all shares together."""

    __tablename__ = "booking_group"
    __table_args__ = (sa.CheckConstraint("share > 0", name="share"),)

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    kind: str = "internal"
    share: float = 1.0
    closed: bool = False


class Member(Row, table=True):
    """Somebody who may book for a group."""

    __tablename__ = "booking_group_member"
    __table_args__ = (sa.UniqueConstraint("group_id", "person_id"),)

    id: int | None = Field(default=None, primary_key=True)
    group_id: int = Field(foreign_key="booking_group.id")
    person_id: int = Field(foreign_key="person.id", index=True)


class Booking(Row, table=True):
    """Cold hours somebody asked for, and the chain laid around them. A cancelled one is kept.

    `uid` never changes and `sequence` rises with every move, so that calendars can follow.
    """

    __tablename__ = "booking"
    __table_args__ = (
        sa.CheckConstraint("cold_hours > 0", name="cold_hours"),
        sa.Index("ix_booking_of_cryostat", "cryostat_id", "window_starts"),
        sa.Index("ix_booking_of_owner", "owner_id", "window_starts"),
    )

    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(unique=True)
    sequence: int = 0
    cryostat_id: int = Field(foreign_key="cryostat.id")
    occupancy_id: int | None = Field(default=None, foreign_key="occupancy.id", unique=True)
    """None: it has no place, because it waits, was cancelled, or lost its place."""
    state: str
    owner_id: int = Field(foreign_key="person.id")
    owner_name: str
    helper_id: int | None = Field(default=None, foreign_key="person.id")
    """Whose grade covers the hands-on phases, where the owner's does not."""
    helper_name: str = ""
    group_id: int | None = Field(default=None, foreign_key="booking_group.id")
    group_name: str = ""
    purpose: str
    hazards: str = ""
    wanted_K: float | None = None
    want: str
    """as-is, house or draft."""
    draft_id: int | None = Field(default=None, foreign_key="draft.id")
    configuration: str
    """What it needs inside: `revision:14` or `draft:3`."""
    cold_hours: float
    earliest: datetime | None = Field(default=None, sa_type=UTC)
    latest: datetime | None = Field(default=None, sa_type=UTC)
    cold_as_is: bool = False
    """Waiting, it would also take the cryostat cold as it is."""
    window_starts: datetime | None = Field(default=None, sa_type=UTC)
    window_ends: datetime | None = Field(default=None, sa_type=UTC)
    phases: list[dict[str, Any]] = Field(default_factory=list, sa_type=sa.JSON)
    """The chain as it was laid: kind, starts, ends."""
    change: str = "none"
    cold_found: bool | None = None
    slack_h: float | None = None
    any_hour: bool = False
    tentative: bool = False
    training: bool = False
    override: str = ""
    """Why a steward set a rule aside for it."""
    frozen_at: datetime | None = Field(default=None, sa_type=UTC)
    ended_at: datetime | None = Field(default=None, sa_type=UTC)
    joined_id: int | None = Field(default=None, foreign_key="booking.id")
    """The booking whose window it shares."""
    made_at: datetime = Field(sa_type=UTC)
    altered_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Party(Row, table=True):
    """Somebody who shares a booking, with the group and the cold hours they brought."""

    __tablename__ = "booking_party"
    __table_args__ = (sa.UniqueConstraint("booking_id", "person_id"),)

    id: int | None = Field(default=None, primary_key=True)
    booking_id: int = Field(foreign_key="booking.id")
    person_id: int = Field(foreign_key="person.id", index=True)
    name: str
    group_id: int | None = Field(default=None, foreign_key="booking_group.id")
    group_name: str = ""
    cold_hours: float


class BookingStep(Row, table=True):
    """One thing that happened to a booking, with the plan as it was before."""

    __tablename__ = "booking_step"
    __table_args__ = (sa.Index("ix_booking_step_of_booking", "booking_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    booking_id: int = Field(foreign_key="booking.id")
    what: str
    note: str = ""
    data: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Telling(Row, table=True):
    """Something a person must be told about a booking or a hold; who sends mail reads it here."""

    __tablename__ = "booking_telling"
    __table_args__ = (sa.Index("ix_booking_telling_of_person", "person_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    booking_id: int | None = Field(default=None, foreign_key="booking.id")
    person_id: int = Field(foreign_key="person.id")
    person_name: str
    what: str
    at: datetime = Field(sa_type=UTC)


class Hold(Row, table=True):
    """Time in which nobody may use a cryostat, with a reason and the condition that ends it.

    A soft hold takes no time yet: it says that something will fall due inside somebody's booking.
    """

    __tablename__ = "hold"
    __table_args__ = (sa.Index("ix_hold_of_cryostat", "cryostat_id", "starts"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    occupancy_id: int | None = Field(default=None, foreign_key="occupancy.id", unique=True)
    kind: str
    reason: str
    condition: str
    starts: datetime = Field(sa_type=UTC)
    ends: datetime = Field(sa_type=UTC)
    """When it is expected to end, or ended."""
    soft: bool = False
    ended_at: datetime | None = Field(default=None, sa_type=UTC)
    ended_note: str = ""
    made_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class RuleEntry(Row, table=True):
    """A number of the rules as a steward set it, with the reason; the newest holds."""

    __tablename__ = "booking_rule"
    __table_args__ = (sa.Index("ix_booking_rule_newest", "scope", "name", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    scope: str
    """laboratory, or a cryostat's address."""
    name: str
    value: str
    reason: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Decision(Row, table=True):
    """How a steward settled two requests that clash, with what was shown at the time."""

    __tablename__ = "booking_decision"
    __table_args__ = (sa.Index("ix_booking_decision_of_cryostat", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    first_id: int = Field(foreign_key="booking.id")
    second_id: int = Field(foreign_key="booking.id")
    choice: str
    reason: str
    shown: dict[str, Any] = Field(sa_type=sa.JSON)
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


BOOKING_KEPT = ("uid", "cryostat_id", "owner_id", "owner_name", "made_at", "by_name", "by_id")
"""What of a booking no update may touch."""
HOLD_KEPT = ("cryostat_id", "kind", "reason", "made_at", "by_name", "by_id")

append_only(Booking, BOOKING_KEPT)
append_only(Hold, HOLD_KEPT)
for model in (Party, BookingStep, Telling, RuleEntry, Decision):
    append_only(model)
