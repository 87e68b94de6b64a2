"""What the page of a cryostat's holds shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlmodel import Session

from server.bookings import holds
from server.bookings.models import Hold
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE
from server.people.models import Person

PAST_DAYS = 365


@dataclass(frozen=True)
class HoldsView:
    """The holds of a cryostat, and the form for one more."""

    cryostat: Cryostat
    open: Sequence[Hold]
    past: Sequence[Hold]
    may_place: bool
    service: bool
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    conflict: str
    number: int
    """The hold whose form was not right, 0 for the new one."""
    kinds: Mapping[str, str] = field(default_factory=lambda: holds.KINDS)


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    now: datetime,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    conflict: str = "",
    number: int = 0,
) -> HoldsView:
    """Its holds now and those of the last year."""
    grade = guards.grade_of(session, person, cryostat)
    rows = holds.between(session, [cryostat.id or 0], now - timedelta(days=PAST_DAYS), now + holds.LONGEST)
    return HoldsView(
        cryostat=cryostat,
        open=[row for row in rows if row.ended_at is None],
        past=[row for row in rows if row.ended_at is not None][::-1],
        may_place=grade >= OPERATE,
        service=grade >= holds.SERVICE,
        typed=typed or {},
        faults=faults or {},
        conflict=conflict,
        number=number,
    )
