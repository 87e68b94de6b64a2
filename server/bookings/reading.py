"""Bookings as the books have them: found, listed, and who has a cryostat now."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from server.bookings import lines, writing
from server.bookings.checks import Ask
from server.bookings.lines import Desk
from server.bookings.models import Booking, BookingStep, Hold, Member, Occupancy, Party
from server.bookings.rules import Phase
from server.bookings.writing import BOOKED, PLACELESS
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.errors import Conflict, Forbidden, NotFound
from server.people.models import Person

LARGEST_KEY = 2**31 - 1
LEFT = "Left the shared booking"


def find(session: Session, number: int, *, lock: bool = False) -> Booking:
    """One booking; NotFound. With `lock`, nobody else may change its cryostat's line until the end."""
    found = session.get(Booking, number) if 0 < number <= LARGEST_KEY else None
    if found is None:
        raise NotFound(f"There is no booking {number}.")
    if lock:
        cryostat = session.get(Cryostat, found.cryostat_id)
        assert cryostat is not None
        guards.find(session, cryostat.slug, lock=True)
        session.refresh(found)
    return found


def desk_of(session: Session, booking: Booking, now: datetime) -> Desk:
    """What there is to know of its cryostat."""
    cryostat = session.get(Cryostat, booking.cryostat_id)
    assert cryostat is not None
    return lines.desk(session, cryostat, now)


def of_cryostat(session: Session, cryostat: Cryostat, first: datetime, last: datetime) -> Sequence[Booking]:
    """Its bookings that have a place between two moments, in order."""
    query = select(Booking).join(Occupancy, col(Occupancy.id) == col(Booking.occupancy_id))
    query = query.where(
        Booking.cryostat_id == cryostat.id, col(Occupancy.ends) > first, col(Occupancy.starts) < last
    )
    return session.exec(query.order_by(col(Occupancy.starts))).all()


def ahead(session: Session, cryostat: Cryostat, now: datetime) -> Sequence[Booking]:
    """Its bookings that have a place and have not begun, in order."""
    query = select(Booking).join(Occupancy, col(Occupancy.id) == col(Booking.occupancy_id))
    query = query.where(Booking.cryostat_id == cryostat.id, col(Occupancy.starts) > now)
    return session.exec(query.order_by(col(Occupancy.starts))).all()


def placeless(session: Session, cryostat: Cryostat | None = None) -> Sequence[Booking]:
    """Those who wait for a place, first asked first."""
    query = select(Booking).where(col(Booking.state).in_(PLACELESS))
    if cryostat is not None:
        query = query.where(Booking.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(Booking.made_at), col(Booking.id))).all()


def steps(session: Session, booking: Booking) -> Sequence[BookingStep]:
    """What happened to it, oldest first."""
    query = select(BookingStep).where(BookingStep.booking_id == booking.id)
    return session.exec(query.order_by(col(BookingStep.id))).all()


def parties(session: Session, booking: Booking) -> Sequence[Party]:
    """Those who share it and have not left."""
    query = select(Party).where(Party.booking_id == booking.id).order_by(col(Party.id))
    rows = session.exec(query).all()
    left = {row.data["person_id"] for row in steps(session, booking) if row.what == LEFT} if rows else set()
    return [row for row in rows if row.person_id not in left]


@dataclass(frozen=True)
class NowAndNext:
    """Who has a cryostat, which phase it should be in, and who comes next."""

    booking: Booking | None
    phase: Phase | None
    hold: Hold | None
    next: Booking | None


def now_and_next(session: Session, cryostat_id: int, now: datetime) -> NowAndNext:
    """What the plan says of this moment. What is so is entered by people, never read from the plan."""
    query = select(Booking).join(Occupancy, col(Occupancy.id) == col(Booking.occupancy_id))
    later = query.where(Booking.cryostat_id == cryostat_id, col(Occupancy.ends) > now)
    rows = session.exec(later.order_by(col(Occupancy.starts)).limit(2)).all()
    running = [row for row in rows if any(phase.starts <= now < phase.ends for phase in lines.phases_of(row))]
    held = select(Hold).join(Occupancy, col(Occupancy.id) == col(Hold.occupancy_id))
    held = held.where(
        Hold.cryostat_id == cryostat_id, col(Occupancy.starts) <= now, col(Occupancy.ends) > now
    )
    here = running[0] if running else None
    phase = (
        next((row for row in lines.phases_of(here) if row.starts <= now < row.ends), None) if here else None
    )
    following = next((row for row in rows if row is not here), None)
    return NowAndNext(here, phase, session.exec(held).first(), following)


def need_hand(session: Session, person: Person, booking: Booking) -> None:
    """Forbidden unless it is the person's own, they share it, or they are steward."""
    keys = {booking.owner_id, *(row.person_id for row in parties(session, booking))}
    if not person.steward and person.id not in keys:
        raise Forbidden(f"This booking belongs to {booking.owner_name}.")


def need_place(booking: Booking) -> None:
    """Conflict when it has no place on the line."""
    if booking.state != BOOKED:
        raise Conflict(f"This booking is {writing.WORDS[booking.state]}.")


def need_not_begun(booking: Booking, now: datetime) -> None:
    """Conflict when somebody is at it already."""
    phases = lines.phases_of(booking)
    if phases and phases[0].starts <= now:
        raise Conflict("This booking has begun; it can be shortened, extended or ended.")


def need_not_over(booking: Booking, now: datetime) -> None:
    """Conflict when its time has passed."""
    phases = lines.phases_of(booking)
    if phases and phases[-1].ends <= now:
        raise Conflict("This booking is over.")


def ask_of(booking: Booking) -> Ask:
    """What was asked for, as an ask."""
    return Ask(
        cold_hours=booking.cold_hours,
        purpose=booking.purpose,
        want=booking.want,
        draft_id=booking.draft_id,
        hazards=booking.hazards,
        wanted_K=booking.wanted_K,
        group_id=booking.group_id,
        helper_id=booking.helper_id,
        any_hour=booking.any_hour,
        training=booking.training,
        override=booking.override,
        earliest=booking.earliest,
        latest=booking.latest,
        cold_as_is=booking.cold_as_is,
    )


def taken(session: Session, cryostat: Cryostat, first: datetime, last: datetime) -> bool:
    """True when a cold window or a hold reaches into this stretch of time."""
    if last <= first:
        return False
    windows = select(Booking.id).where(
        Booking.cryostat_id == cryostat.id,
        col(Booking.occupancy_id).is_not(None),
        col(Booking.window_starts) < last,
        col(Booking.window_ends) > first,
    )
    holds = select(Hold.id).join(Occupancy, col(Occupancy.id) == col(Hold.occupancy_id))
    holds = holds.where(
        Hold.cryostat_id == cryostat.id, col(Occupancy.starts) < last, col(Occupancy.ends) > first
    )
    return any(session.exec(query.limit(1)).first() is not None for query in (windows, holds))


def sees(session: Session, person: Person) -> Callable[[Booking], bool]:
    """True for those a booking concerns: its people, its group, a steward. Others see who and when."""
    groups = set(session.exec(select(Member.group_id).where(Member.person_id == person.id)).all())
    shared = set(session.exec(select(Party.booking_id).where(Party.person_id == person.id)).all())

    def concerns(booking: Booking) -> bool:
        own = person.steward or person.id in (booking.owner_id, booking.helper_id)
        return own or booking.group_id in groups or booking.id in shared

    return concerns
