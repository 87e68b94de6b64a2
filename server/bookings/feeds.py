"""Feeds of the plan at secret addresses: made, revoked, read. The text of an address is shown once."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlmodel import Session, col, or_, select

from server.bookings import feeds_calendar, lines, reading
from server.bookings.feeds_calendar import Told
from server.bookings.feeds_models import FeedAddress
from server.bookings.models import Booking, BookingStep, Hold, Party
from server.bookings.rules import Phase
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.errors import NotFound, Refused
from server.history import service as history
from server.laboratory import service as laboratory
from server.people import tokens
from server.people.models import Person

OWN, CRYOSTAT, FREE_BUSY = "own", "cryostat", "free-busy"
KINDS = {
    OWN: "your own bookings",
    CRYOSTAT: "everything on this cryostat",
    FREE_BUSY: "when it is taken, without names or purposes",
}
PREFIX_LENGTH = 6
MOST = 30
BACK = timedelta(days=366)
BUSY_BACK, BUSY_AHEAD = timedelta(days=7), timedelta(weeks=30)


def make(session: Session, person: Person, kind: str, slug: str, now: datetime) -> tuple[FeedAddress, str]:
    """A new address of this person, and its secret part."""
    found = {}
    if kind not in KINDS:
        found["kind"] = "Choose what it tells"
    if kind in (CRYOSTAT, FREE_BUSY) and not slug:
        found["cryostat"] = "Choose the cryostat"
    if not found and len(of(session, person)) >= MOST:
        found["kind"] = f"Revoke an address first; {MOST} are the most"
    if found:
        raise Refused("No address was made.", found)
    cryostat = guards.find(session, slug) if kind != OWN else None
    text = tokens.fresh()
    row = FeedAddress(
        key=tokens.key_of(text),
        prefix=text[:PREFIX_LENGTH],
        person_id=person.id or 0,
        kind=kind,
        cryostat_id=cryostat.id if cryostat else None,
        made_at=now,
    )
    session.add(row)
    session.flush()
    of_what = f" of {cryostat.name}" if cryostat else ""
    line = f"Calendar address made: {KINDS[kind]}{of_what}"
    history.note(session, person, f"person/{person.id}", line, now, {"prefix": row.prefix})
    return row, text


def of(session: Session, person: Person) -> Sequence[FeedAddress]:
    """The addresses of a person that still work, newest first."""
    query = select(FeedAddress).where(
        FeedAddress.person_id == person.id, col(FeedAddress.revoked_at).is_(None)
    )
    return session.exec(query.order_by(col(FeedAddress.id).desc())).all()


def revoke(session: Session, person: Person, number: int, now: datetime) -> FeedAddress:
    """Make an address worthless; NotFound when it is not the person's own."""
    row = session.get(FeedAddress, number, with_for_update=True) if 0 < number < 2**31 else None
    if row is None or row.person_id != person.id or row.revoked_at is not None:
        raise NotFound("There is no such address, or it was revoked before.")
    row.revoked_at = now
    session.add(row)
    line = f"Calendar address revoked: {KINDS[row.kind]}"
    history.note(session, person, f"person/{person.id}", line, now, {"prefix": row.prefix})
    return row


def read(session: Session, token: str, now: datetime) -> bytes:
    """The calendar behind a secret address; NotFound when it is unknown, revoked, or its person has left."""
    query = select(FeedAddress, Person).join(Person, col(Person.id) == col(FeedAddress.person_id))
    query = query.where(
        FeedAddress.key == tokens.key_of(token), col(FeedAddress.revoked_at).is_(None), col(Person.active)
    )
    found = session.exec(query).first()
    if found is None:
        raise NotFound("There is no calendar at this address.")
    row, person = found
    if row.kind == FREE_BUSY:
        return _free_busy(session, row, now)
    return _events(session, row, person, now)


def _day(now: datetime) -> datetime:
    """The day it is, so that what a feed reaches over moves once a day and not with every asking."""
    return now.replace(hour=0, minute=0, second=0, microsecond=0)


def _events(session: Session, row: FeedAddress, person: Person, now: datetime) -> bytes:
    zone, sees = laboratory.get(session).zone, reading.sees(session, person)
    names = dict(session.exec(select(Cryostat.id, Cryostat.name)).all())
    made = feeds_calendar.calendar(names[row.cryostat_id] if row.cryostat_id else f"{person.name}, cryostats")
    bookings = _bookings(session, row, person, _day(now) - BACK)
    lost = _lost(session, [booking for booking in bookings if not booking.phases])
    for booking in bookings:
        phases = lines.phases_of(booking) or lost.get(booking.id or 0, ())
        if phases:
            purpose = booking.purpose if sees(booking) else ""
            made.add_component(
                feeds_calendar.event(Told(booking, names[booking.cryostat_id], phases, purpose), zone)
            )
    if row.cryostat_id:
        for hold in _holds(session, row.cryostat_id, _day(now) - BACK):
            made.add_component(feeds_calendar.hold_event(hold, names[row.cryostat_id]))
    return bytes(made.to_ical())


def _bookings(session: Session, row: FeedAddress, person: Person, since: datetime) -> Sequence[Booking]:
    query = select(Booking).where(or_(col(Booking.window_ends) > since, col(Booking.altered_at) > since))
    if row.kind == CRYOSTAT:
        query = query.where(Booking.cryostat_id == row.cryostat_id)
    else:
        shared = select(Party.booking_id).where(Party.person_id == person.id)
        mine = or_(Booking.owner_id == person.id, Booking.helper_id == person.id, col(Booking.id).in_(shared))
        query = query.where(mine)
    return session.exec(query.order_by(col(Booking.id))).all()


def _lost(session: Session, bookings: Sequence[Booking]) -> dict[int, tuple[Phase, ...]]:
    """Booking → the last phases it had before it lost its place; who never had one is not there."""
    keys = [row.id for row in bookings]
    query = select(BookingStep).where(col(BookingStep.booking_id).in_(keys)).order_by(col(BookingStep.id))
    found: dict[int, tuple[Phase, ...]] = {}
    for step in session.exec(query).all():
        rows = step.data.get("before", {}).get("phases")
        if rows:
            found[step.booking_id] = lines.phases_in(rows)
    return found


def _holds(session: Session, cryostat_id: int, since: datetime) -> Sequence[Hold]:
    query = select(Hold).where(Hold.cryostat_id == cryostat_id, col(Hold.soft).is_(False), Hold.ends > since)
    return session.exec(query.order_by(col(Hold.id))).all()


def _free_busy(session: Session, row: FeedAddress, now: datetime) -> bytes:
    cryostat = session.get(Cryostat, row.cryostat_id)
    assert cryostat is not None
    assert cryostat.id is not None
    first, last = _day(now) - BUSY_BACK, _day(now) + BUSY_AHEAD
    made = feeds_calendar.calendar(f"{cryostat.name}, free and busy")
    bookings = reading.of_cryostat(session, cryostat, first, last)
    holds = [hold for hold in _holds(session, cryostat.id, first) if hold.starts < last]
    made.add_component(feeds_calendar.free_busy(row.key[:32], bookings, holds, first, last))
    return bytes(made.to_ical())
