"""Writing the line down: places taken and given up, steps kept, people told. Services come here."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.bookings import finding, lines
from server.bookings.laying import Chain
from server.bookings.models import Booking, BookingStep, Occupancy, Party, Telling
from server.bookings.rules import WINDOW, Phase
from server.cryostats.models import Cryostat
from server.errors import Conflict
from server.history import service as history
from server.laboratory import service as laboratory
from server.people import mailing
from server.web.moments import when

BOOKED, WAITING, DISPLACED, CANCELLED, NO_SHOW, JOINED = (
    "booked",
    "waiting",
    "displaced",
    "cancelled",
    "no-show",
    "joined",
)
WORDS = {
    BOOKED: "booked",
    WAITING: "waiting for a place",
    DISPLACED: "lost its place, waiting for another",
    CANCELLED: "cancelled",
    NO_SHOW: "not begun, offered to others",
    JOINED: "shares another booking",
}
PLACELESS = (WAITING, DISPLACED)
TAKEN = "Somebody took this time meanwhile."


def step(
    session: Session,
    author: history.Author,
    booking: Booking,
    what: str,
    at: datetime,
    note: str = "",
    data: Mapping[str, Any] | None = None,
) -> BookingStep:
    """Keep one thing that happened to a booking, and tell the history."""
    assert booking.id is not None
    row = BookingStep(
        booking_id=booking.id,
        what=what,
        note=note,
        data=dict(data or {}),
        at=at,
        by_name=author.name,
        by_id=author.id,
    )
    session.add(row)
    history.note(session, author, subject(booking), f"{what}. {note}".strip(), at, dict(data or {}))
    return row


def subject(booking: Booking) -> str:
    """How history names it."""
    return f"booking/{booking.id}"


def tell(session: Session, booking: Booking, what: str, at: datetime, but: int | None = None) -> None:
    """Write down that its owner, its parties and its helper must know; `but` is who did it."""
    people = {booking.owner_id: booking.owner_name}
    query = select(Party).where(Party.booking_id == booking.id)
    people |= {row.person_id: row.name for row in session.exec(query).all()}
    if booking.helper_id is not None:
        people[booking.helper_id] = booking.helper_name
    for key, name in people.items():
        if key != but:
            session.add(Telling(booking_id=booking.id, person_id=key, person_name=name, what=what, at=at))
            _write_letter(session, booking, key, what, at)


def _write_letter(session: Session, booking: Booking, person_id: int, what: str, at: datetime) -> None:
    cryostat = session.get(Cryostat, booking.cryostat_id)
    zone, name = laboratory.get(session).zone, cryostat.name if cryostat else ""
    rows = [what, "", f"Booking {booking.id} on {name}, for {booking.owner_name}."]
    if booking.window_starts and booking.window_ends:
        rows.append(f"Cold from {when(booking.window_starts, zone)} to {when(booking.window_ends, zone)}.")
    mailing.write_to(session, person_id, f"{name}: {what}", "\n".join(rows) + "\n", subject(booking), at)


def plan_of(booking: Booking) -> dict[str, Any]:
    """The plan as it stands, for a step to keep before it alters it."""
    starts, ends = booking.window_starts, booking.window_ends
    return {
        "state": booking.state,
        "window_starts": starts.isoformat() if starts else None,
        "window_ends": ends.isoformat() if ends else None,
        "cold_hours": booking.cold_hours,
        "phases": list(booking.phases),
    }


def place(
    session: Session, chains: Mapping[int, Chain], at: datetime, bookings: Mapping[int, Booking] | None = None
) -> None:
    """Give these bookings the places of their chains: all old ones are given up before a new one is taken.

    Conflict when the database finds another there.
    """
    rows = dict(bookings or {})
    missing = [key for key in chains if key not in rows]
    query = select(Booking).where(col(Booking.id).in_(missing))
    rows |= {row.id or 0: row for row in (session.exec(query).all() if missing else ())}
    give_up(session, rows.values())
    for key, chain in chains.items():
        booking = rows[key]
        taken = Occupancy(
            cryostat_id=booking.cryostat_id, starts=chain.starts, ends=chain.ends, kind="booking"
        )
        session.add(taken)
        try:
            session.flush()
        except IntegrityError:
            raise Conflict(TAKEN) from None
        _lay(booking, chain, taken, at)
        session.add(booking)
    session.flush()


def _lay(booking: Booking, chain: Chain, taken: Occupancy, at: datetime) -> None:
    booking.occupancy_id = taken.id
    booking.phases = lines.phase_rows(chain)
    booking.window_starts, booking.window_ends = chain.window.starts, chain.window.ends
    booking.configuration, booking.change = chain.configuration, chain.change
    booking.cold_found = chain.cold_found
    booking.slack_h = None if chain.slack is None else chain.slack.total_seconds() / 3600
    booking.state = BOOKED
    booking.altered_at = at
    booking.sequence += 1


def give_up(session: Session, bookings: Iterable[Booking]) -> None:
    """Take their places away from these bookings."""
    keys = []
    for booking in bookings:
        if booking.occupancy_id is not None:
            keys.append(booking.occupancy_id)
            booking.occupancy_id = None
            session.add(booking)
    session.flush()
    for key in keys:
        row = session.get(Occupancy, key)
        if row is not None:
            session.delete(row)
    session.flush()


def cut_to(session: Session, booking: Booking, phases: Sequence[Phase], at: datetime) -> None:
    """Leave a booking these phases and no more."""
    give_up(session, [booking])
    past = Occupancy(
        cryostat_id=booking.cryostat_id, starts=phases[0].starts, ends=phases[-1].ends, kind="booking"
    )
    session.add(past)
    session.flush()
    booking.occupancy_id = past.id
    booking.phases = [lines.phase_row(row) for row in phases]
    windows = [row for row in phases if row.kind == WINDOW]
    booking.window_ends = windows[-1].ends if windows else booking.window_starts
    booking.sequence += 1
    booking.altered_at = at
    session.add(booking)
    session.flush()


def displace(session: Session, author: history.Author, booking: Booking, why: str, at: datetime) -> None:
    """Take a booking's place away; it waits for another, keeping its hours, and its people are told."""
    before = plan_of(booking)
    give_up(session, [booking])
    booking.state = DISPLACED
    booking.phases, booking.slack_h = [], None
    booking.earliest = booking.window_starts
    booking.window_starts = booking.window_ends = None
    booking.sequence += 1
    booking.altered_at = at
    session.add(booking)
    step(session, author, booking, "Lost its place", at, why, {"before": before})
    tell(session, booking, f"Your booking lost its place: {why} Choose another time for it.", at)


def let_guests_go(
    session: Session,
    author: history.Author,
    booking: Booking,
    at: datetime,
    why: str,
    owner_id: int | None = None,
) -> None:
    """Put the requests that shared a booking back on the waiting list, all or somebody's, and tell them."""
    query = select(Booking).where(Booking.joined_id == booking.id, Booking.state == JOINED)
    if owner_id is not None:
        query = query.where(Booking.owner_id == owner_id)
    for guest in session.exec(query.order_by(col(Booking.id))).all():
        guest.state, guest.joined_id, guest.altered_at = WAITING, None, at
        guest.sequence += 1
        session.add(guest)
        step(session, author, guest, "Waits again", at, why)
        tell(session, guest, f"Your request waits for a place again: {why}", at, author.id)


def settle(
    session: Session,
    author: history.Author,
    desk: lines.Desk,
    at: datetime,
    why: str,
    *,
    may_move: bool = False,
) -> finding.Again:
    """Lay again whatever a change of the line has moved; tell those whose plan is another now."""
    fresh = lines.desk(session, desk.cryostat, at)
    return rewrite(session, author, fresh, fresh.line, at, why, may_move=may_move)


def rewrite(
    session: Session,
    author: history.Author,
    desk: lines.Desk,
    line: finding.Line,
    at: datetime,
    why: str,
    *,
    own: Mapping[int, Chain] | None = None,
    may_move: bool = False,
) -> finding.Again:
    """Make `line` the line in the books, everything on it laid again; `own` are chains already settled.

    Those who have no room any more lose their place.
    """
    again = finding.relay(desk.kit, line, may_move=may_move)
    for key in again.homeless:
        displace(session, author, _row(session, key), why, at)
    rows = {key: _row(session, key) for key in (*again.chains, *(own or {}))}
    before = {key: plan_of(row) for key, row in rows.items()}
    place(session, {**again.chains, **(own or {})}, at, rows)
    for key in again.chains:
        row = rows[key]
        moved = before[key]["window_starts"] != plan_of(row)["window_starts"]
        what = "Moved with the plan" if moved else "Laid again"
        step(session, author, row, what, at, why, {"before": before[key]})
        tell(session, row, f"{what}: {why}", at, author.id)
    return again


def _row(session: Session, key: int) -> Booking:
    found = session.get(Booking, key)
    assert found is not None
    return found
