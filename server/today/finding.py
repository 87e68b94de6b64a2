"""What stands in every cryostat and who has it, each look made once for all cryostats together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Session, col, select

from server.bookings import lines
from server.bookings.models import Booking, Hold, Occupancy
from server.bookings.rules import Phase
from server.cryostats.models import Cryostat, ElementRow


@dataclass(frozen=True)
class Plan:
    """What the plan says of one cryostat at this moment."""

    booking: Booking | None = None
    phase: Phase | None = None
    hold: Hold | None = None
    next: Booking | None = None
    next_at: datetime | None = None


def plans(session: Session, now: datetime) -> Mapping[int, Plan]:
    """Cryostat key → who has it and who is next, as `bookings.service.now_and_next` says of one."""
    other = Occupancy.__table__.alias()  # type: ignore[attr-defined]
    began = sa.select(sa.func.max(other.c.starts)).where(
        other.c.cryostat_id == Cryostat.id, other.c.starts <= now
    )
    # Nothing overlaps, so what is going on is the last that began; all else that matters begins later.
    since = sa.func.coalesce(began.correlate(Cryostat).scalar_subquery(), now)
    here = select(Occupancy).join(Cryostat, col(Cryostat.id) == col(Occupancy.cryostat_id))
    here = here.where(col(Occupancy.starts) >= since, col(Occupancy.ends) > now)
    rows = session.exec(here.order_by(col(Occupancy.starts), col(Occupancy.id))).all()
    keys = [row.id for row in rows]
    booked = session.exec(select(Booking).where(col(Booking.occupancy_id).in_(keys))).all()
    held = session.exec(select(Hold).where(col(Hold.occupancy_id).in_(keys))).all()
    bookings = {row.occupancy_id: row for row in booked}
    holds = {row.occupancy_id: row for row in held}
    found: dict[int, Plan] = {}
    for cryostat_id in dict.fromkeys(row.cryostat_id for row in rows):
        mine = [row for row in rows if row.cryostat_id == cryostat_id]
        found[cryostat_id] = _plan(mine, bookings, holds, now)
    return found


def _plan(
    rows: Sequence[Occupancy],
    bookings: Mapping[int | None, Booking],
    holds: Mapping[int | None, Hold],
    now: datetime,
) -> Plan:
    going = next((row for row in rows if row.starts <= now), None)
    booking = bookings.get(going.id) if going else None
    phases = lines.phases_of(booking) if booking else ()
    phase = next((row for row in phases if row.starts <= now < row.ends), None)
    later = next((row for row in rows if row is not going and row.id in bookings), None)
    return Plan(
        booking,
        phase,
        holds.get(going.id) if going else None,
        bookings.get(later.id) if later else None,
        later.starts if later else None,
    )


def guests(session: Session) -> Mapping[int, Sequence[str]]:
    """Cryostat key → names of what is inside and not of the house, the newest first; one query."""
    query = select(ElementRow).where(col(ElementRow.to_revision).is_(None), col(ElementRow.house).is_(False))
    found: dict[int, list[str]] = {}
    newest = (col(ElementRow.from_revision).desc(), col(ElementRow.id).desc())
    for row in session.exec(query.order_by(*newest)).all():
        found.setdefault(row.cryostat_id, []).append(row.label or row.key)
    return found
