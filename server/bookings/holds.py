"""Holds: time nobody may use a cryostat, with a reason and the condition that ends it.

A hold goes in first: whoever is in its way loses the place in the same step and is told. A soft hold takes no
time; it says that something will fall due inside somebody's booking.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.bookings import fairness, finding, lines, writing
from server.bookings.checks import typed_moment_faults
from server.bookings.finding import Block
from server.bookings.lines import Desk
from server.bookings.models import Booking, Hold, Occupancy
from server.bookings.rules import WINDOW
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import LONGEST_NOTE, OPERATE, text_faults
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.people.models import Person

KINDS = {
    "fault": "fault of the instrument",
    "service": "service",
    "safety": "safety",
    "building": "shutdown of the building",
}
FOR_ALL = ("fault", "safety")
"""What anybody who operates it may write down; the others are for whoever services it, and for stewards."""
SERVICE = 4
LONGEST = timedelta(days=400)
LARGEST_KEY = 2**31 - 1
NOT_HELD = "The hold was not stored."


@dataclass(frozen=True)
class Held:
    """A hold as somebody writes it; `condition` says what must be so before it ends."""

    kind: str
    reason: str
    condition: str
    starts: datetime
    ends: datetime
    soft: bool = False


def find(session: Session, number: int, *, lock: bool = False) -> Hold:
    """One hold; NotFound. With `lock`, nobody else may change its cryostat's line until the end."""
    found = session.get(Hold, number) if 0 < number <= LARGEST_KEY else None
    if found is None:
        raise NotFound(f"There is no hold {number}.")
    if lock:
        cryostat = session.get(Cryostat, found.cryostat_id)
        assert cryostat is not None
        guards.find(session, cryostat.slug, lock=True)
        session.refresh(found)
    return found


def of_cryostat(session: Session, cryostat: Cryostat, since: datetime) -> Sequence[Hold]:
    """Its holds that have not ended by `since`, soft ones too, in order."""
    query = select(Hold).where(
        Hold.cryostat_id == cryostat.id, col(Hold.ended_at).is_(None), Hold.ends > since
    )
    return session.exec(query.order_by(col(Hold.starts))).all()


def between(session: Session, keys: Sequence[int], first: datetime, last: datetime) -> Sequence[Hold]:
    """The holds of these cryostats that reach into a stretch of time."""
    query = select(Hold).where(col(Hold.cryostat_id).in_(keys), Hold.starts < last, Hold.ends > first)
    return session.exec(query.order_by(col(Hold.starts))).all()


def hold(session: Session, person: Person, slug: str, held: Held, now: datetime) -> Hold:
    """Place a hold; bookings in its way lose their place, one that runs is cut short, all are told."""
    cryostat = guards.find(session, slug, lock=True)
    _need(session, person, cryostat, held.kind)
    _checked(held, now)
    assert cryostat.id is not None
    row = Hold(
        cryostat_id=cryostat.id,
        kind=held.kind,
        reason=held.reason.strip(),
        condition=held.condition.strip(),
        starts=held.starts,
        ends=held.ends,
        soft=held.soft,
        made_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    desk = lines.desk(session, cryostat, now)
    if held.soft:
        _warn(session, desk, row, now)
    else:
        _clear(session, person, desk, row, now)
    line = f"Hold, {KINDS[row.kind]}: {row.reason} It ends when: {row.condition}"
    history.note(session, person, f"cryostat/{slug}", line, now, {"hold": row.id})
    return row


def _need(session: Session, person: Person, cryostat: Cryostat, kind: str) -> None:
    guards.need(session, person, cryostat, OPERATE if kind in FOR_ALL else SERVICE)
    if kind == "building" and not person.steward:
        raise Forbidden("Only a steward enters a shutdown of the building.")


def _checked(held: Held, now: datetime) -> None:
    found = text_faults("reason", "the reason", held.reason, LONGEST_NOTE)
    found |= text_faults("condition", "the condition", held.condition, LONGEST_NOTE)
    found |= typed_moment_faults("starts", held.starts) | typed_moment_faults("ends", held.ends)
    if held.kind not in KINDS:
        found["kind"] = "Choose what kind of hold it is"
    if not held.reason.strip():
        found["reason"] = "Enter why nobody may use it"
    if not held.condition.strip():
        found["condition"] = "Enter what must be so before it ends"
    found |= _time_faults(held.starts, held.ends, now)
    if found:
        raise Refused(NOT_HELD, found)


def _time_faults(starts: datetime, ends: datetime, now: datetime) -> dict[str, str]:
    if ends <= max(starts, now):
        return {"ends": "The expected end must come after the start, and lie ahead"}
    if ends - starts > LONGEST:
        return {"ends": "A hold lasts at most 400 days; place another then"}
    return {}


def _warn(session: Session, desk: Desk, row: Hold, now: datetime) -> None:
    """Tell those inside whose booking a soft hold falls."""
    for block in finding.in_the_way(desk.line, row.starts, row.ends):
        booking = session.get(Booking, block.key) if block.wish is not None else None
        if booking is not None:
            words = f"{KINDS[row.kind].capitalize()} will fall due inside your booking: {row.reason}"
            writing.tell(session, booking, words, now)


def _clear(session: Session, person: Person, desk: Desk, row: Hold, now: datetime) -> None:
    """Take the time for a hold: whoever stands in it gives way, the others are laid again around it."""
    why = f"{desk.cryostat.name} is held ({KINDS[row.kind]}): {row.reason}"
    for block in finding.in_the_way(desk.line, row.starts, row.ends):
        if block.wish is None and block.key != row.id:
            raise Conflict("Another hold stands there already; prolong that one, or end it first.")
    for key in _begun(session, row, now):
        _cut(session, person, key, row.starts, now, why)
    fresh = lines.desk(session, desk.cryostat, now)
    assert row.id is not None
    own = Block(row.id, row.starts, row.ends, kind=row.kind)
    line = _without_hold(fresh.line, row.id).with_block(own)
    _give_way(session, row)
    writing.rewrite(session, person, fresh, line, now, why)
    _occupy(session, row, row.starts, row.ends)


def _begun(session: Session, row: Hold, now: datetime) -> Sequence[int]:
    """The bookings that had begun and reach into the hold; a hold may have begun in the past."""
    query = select(Booking.id).join(Occupancy, col(Occupancy.id) == col(Booking.occupancy_id))
    query = query.where(
        Booking.cryostat_id == row.cryostat_id,
        col(Occupancy.starts) < row.ends,
        col(Occupancy.ends) > row.starts,
        col(Occupancy.starts) <= now,
    )
    return [key for key in session.exec(query).all() if key is not None]


def _without_hold(line: finding.Line, key: int) -> finding.Line:
    rows = tuple(row for row in line.blocks if row.wish is not None or row.key != key)
    return replace(line, blocks=rows)


def _give_way(session: Session, row: Hold) -> None:
    """A hold that is prolonged gives its old time up before it takes the new."""
    old = session.get(Occupancy, row.occupancy_id) if row.occupancy_id is not None else None
    if old is not None:
        row.occupancy_id = None
        session.add(row)
        session.flush()
        session.delete(old)
        session.flush()


def _occupy(session: Session, row: Hold, starts: datetime, ends: datetime) -> None:
    taken = Occupancy(cryostat_id=row.cryostat_id, starts=starts, ends=ends, kind="hold")
    session.add(taken)
    try:
        session.flush()
    except IntegrityError:
        raise Conflict(writing.TAKEN) from None
    row.occupancy_id = taken.id
    session.add(row)
    session.flush()


def _cut(session: Session, person: Person, key: int, at: datetime, now: datetime, why: str) -> None:
    """End a running booking where a hold begins; the cold hours it loses are written down."""
    booking = session.get(Booking, key)
    assert booking is not None
    before, phases = writing.plan_of(booking), lines.phases_of(booking)
    if at <= phases[0].starts:
        writing.displace(session, person, booking, why, now)
        return
    kept = fairness.cut(phases, phases[0].starts, at)
    lost = sum(row.hours for row in phases if row.kind == WINDOW)
    lost -= sum(row.hours for row in kept if row.kind == WINDOW)
    writing.cut_to(session, booking, kept, now)
    data = {"before": before, "lost_cold_h": lost}
    writing.step(session, person, booking, "Cut short by a hold", now, why, data)
    words = f"Your booking ends early, {lost:.1f} cold hours are lost: {why}"
    writing.tell(session, booking, words, now, person.id)


def prolong(session: Session, person: Person, number: int, ends: datetime, note: str, now: datetime) -> Hold:
    """Give a hold a later expected end; whoever is in its way gives way as at the first time."""
    row = _open(session, person, number)
    found = _time_faults(row.starts, ends, now) | typed_moment_faults("ends", ends)
    if ends <= row.ends:
        found["ends"] = "Enter a later end; to end it now, say that it has ended"
    if not note.strip() or len(note) > LONGEST_NOTE:
        found["note"] = "Enter why it takes longer, in a few words"
    if found:
        raise Refused("The hold was not prolonged.", found)
    desk = _desk(session, row, now)
    row.ends = ends
    session.add(row)
    if not row.soft:
        _clear(session, person, desk, row, now)
    line = f"Hold {row.id} prolonged. {note.strip()}"
    history.note(session, person, f"cryostat/{desk.cryostat.slug}", line, now, {"hold": row.id})
    return row


def end_hold(session: Session, person: Person, number: int, note: str, now: datetime) -> Hold:
    """End a hold because its condition is met; `note` says how that is known. Those who wait are told."""
    row = _open(session, person, number)
    found = text_faults("note", "the note", note, LONGEST_NOTE)
    if not note.strip():
        found["note"] = f"Enter how it is known that: {row.condition}"
    if found:
        raise Refused("The hold was not ended.", found)
    desk = _desk(session, row, now)
    _give_way(session, row)
    if not row.soft and row.starts < now:
        _occupy(session, row, row.starts, min(row.ends, now))
    row.ended_at, row.ended_note = now, note.strip()
    row.ends = max(min(row.ends, now), row.starts)
    session.add(row)
    session.flush()
    line = f"Hold {row.id} ended: {row.condition}. {note.strip()}"
    history.note(session, person, f"cryostat/{desk.cryostat.slug}", line, now, {"hold": row.id})
    writing.settle(session, person, desk, now, "a hold before it ended")
    _tell_waiting(session, desk, now)
    return row


def _tell_waiting(session: Session, desk: Desk, now: datetime) -> None:
    query = select(Booking).where(
        Booking.cryostat_id == desk.cryostat.id, col(Booking.state).in_(writing.PLACELESS)
    )
    for booking in session.exec(query).all():
        words = f"A hold on {desk.cryostat.name} ended; your wish waits for a place, choose one."
        writing.tell(session, booking, words, now)


def _open(session: Session, person: Person, number: int) -> Hold:
    row = find(session, number, lock=True)
    cryostat = session.get(Cryostat, row.cryostat_id)
    assert cryostat is not None
    if row.by_id != person.id:
        guards.need(session, person, cryostat, SERVICE)
    if row.ended_at is not None:
        raise Conflict("This hold has ended already.")
    return row


def _desk(session: Session, row: Hold, now: datetime) -> Desk:
    cryostat = session.get(Cryostat, row.cryostat_id)
    assert cryostat is not None
    return lines.desk(session, cryostat, now)
