"""Booking cold hours: taken, waited for, moved, frozen, cancelled.

Every write locks the cryostat first, so that the line it looks at is the line it writes; should two still
meet, the database itself keeps one.
"""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from server.bookings import (
    accounts,
    asking,
    checks,
    configurations,
    fairness,
    finding,
    grades,
    lines,
    parts,
    reading,
    writing,
)
from server.bookings.checks import DRAFT, Ask
from server.bookings.holds import end_hold, hold
from server.bookings.laying import Chain
from server.bookings.lines import Desk
from server.bookings.models import Booking
from server.bookings.reading import now_and_next
from server.bookings.rules import NONE
from server.bookings.writing import BOOKED, CANCELLED, PLACELESS
from server.cryostats import drafts, guards
from server.cryostats.rules import OPERATE
from server.errors import Conflict
from server.people.models import Person

__all__ = ["book", "cancel", "end", "end_hold", "freeze", "hold", "move", "now_and_next", "take", "wait"]
NOT_FREE = "This time is not free for it: "


def book(
    session: Session,
    person: Person,
    slug: str,
    ask: Ask,
    cold_starts: datetime,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> Booking:
    """Take the slot whose cold window begins at `cold_starts`.

    Refused with the fields to mend; Conflict when the time is not free for it.
    """
    cryostat = guards.find(session, slug, lock=True)
    desk = lines.desk(session, cryostat, now)
    helper = asking.checked(session, person, desk, ask, cold_starts, now, dict(unread or {}))
    slot = finding.at(desk.kit, desk.line, asking.wish_for(session, desk.cryostat, ask), cold_starts, now)
    if slot is None:
        raise Conflict(NOT_FREE + asking.why_not(desk, cold_starts, ask))
    asking.keep_rules(session, desk, ask, slot.chain, now)
    grades.need(session, person, helper, desk, asking.grade_of(desk, slot.chain, ask.want, cold_starts), now)
    booking = asking.new(session, person, desk, ask, helper, now)
    booking.tentative = checks.tentative(cold_starts, desk.rules, now)
    take(session, person, desk, booking, slot.chain, now, "Booked")
    return booking


def take(
    session: Session,
    person: Person,
    desk: Desk,
    booking: Booking,
    chain: Chain,
    now: datetime,
    what: str,
    note: str = "",
) -> None:
    """Give a booking its place, and lay the right neighbour again."""
    assert booking.id is not None
    before = writing.plan_of(booking)
    line = desk.line.without(booking.id)
    right = _right_of(line, chain)
    chains, rows = {booking.id: chain}, {booking.id: booking}
    if right is not None and right.wish is not None:
        again = finding.after(desk.kit, chain, right)
        if again is None:
            raise Conflict(NOT_FREE + "the next booking would not fit any more.")
        if again != right.chain:
            chains[right.key] = again
            rows[right.key] = reading.find(session, right.key)
    was = {key: writing.plan_of(row) for key, row in rows.items()}
    writing.place(session, chains, now, rows)
    freeze_if_due(session, person, booking, now)
    writing.step(session, person, booking, what, now, note, {"before": before})
    for key, row in rows.items():
        if key != booking.id:
            why = f"the booking before it is that of {booking.owner_name}"
            writing.step(session, person, row, "Laid again", now, why, {"before": was[key]})
            writing.tell(session, row, f"Your booking is laid again: {why}", now, person.id)
    if what != "Booked":
        writing.tell(session, booking, f"{what}. {note}".strip(), now, person.id)


def _right_of(line: finding.Line, chain: Chain) -> finding.Block | None:
    later = [
        row
        for row in line.blocks
        if (row.chain.window.starts if row.chain is not None else row.starts) >= chain.window.ends
    ]
    return later[0] if later else None


def wait(
    session: Session,
    person: Person,
    slug: str,
    ask: Ask,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> Booking:
    """Put an ask on the waiting list."""
    cryostat = guards.find(session, slug, lock=True)
    desk = lines.desk(session, cryostat, now)
    guards.need(session, person, cryostat, OPERATE)
    helper = asking.checked(session, person, desk, ask, None, now, dict(unread or {}))
    booking = asking.new(session, person, desk, ask, helper, now)
    writing.step(session, person, booking, "Waits for a place", now)
    return booking


def move(
    session: Session, person: Person, number: int, cold_starts: datetime, now: datetime, note: str = ""
) -> Booking:
    """Move a booking that has not begun to another start, or give one that waits its place."""
    booking = reading.find(session, number, lock=True)
    reading.need_hand(session, person, booking)
    if booking.state not in (BOOKED, *PLACELESS):
        raise Conflict(f"This booking is {writing.WORDS[booking.state]}.")
    reading.need_not_begun(booking, now)
    asking.note_checked(note)
    desk, ask = reading.desk_of(session, booking, now), reading.ask_of(booking)
    asking.moment_checked(cold_starts, now)
    line = desk.line.without(booking.id or 0)
    slot = finding.at(desk.kit, line, asking.wish_for(session, desk.cryostat, ask), cold_starts, now)
    if slot is None:
        raise Conflict(NOT_FREE + asking.why_not(desk, cold_starts, ask))
    if not person.steward:
        asking.keep_rules(session, desk, ask, slot.chain, now)
    owner, helper = asking.people(session, booking)
    grades.need(session, owner, helper, desk, asking.grade_of(desk, slot.chain, ask.want, cold_starts), now)
    booking.tentative = checks.tentative(cold_starts, desk.rules, now)
    take(session, person, desk, booking, slot.chain, now, "Moved", note)
    writing.settle(session, person, desk, now, f"the booking of {booking.owner_name} moved")
    return booking


def freeze_if_due(session: Session, person: Person, booking: Booking, now: datetime) -> str:
    """Freeze a booking whose draft may go in; one that opens nothing has nothing to freeze.

    Why it is not frozen although its draft may go in: no valid account. Its owner is told.
    """
    if booking.frozen_at is not None or booking.change == NONE:
        return ""
    kind, number = configurations.parted(booking.configuration)
    if kind != DRAFT or not drafts.find(session, number).standing.buildable:
        return ""
    missing = accounts.missing(session, booking)
    if missing:
        writing.tell(session, booking, f"Its configuration is not frozen yet: {missing}", now)
        return missing
    booking.frozen_at = now
    session.add(booking)
    parts.promise(session, person, booking, now)
    return ""


def freeze(session: Session, person: Person, number: int, now: datetime) -> Booking:
    """Freeze a booking once its draft is approved and an account is valid; Conflict before."""
    booking = reading.find(session, number, lock=True)
    reading.need_hand(session, person, booking)
    reading.need_place(booking)
    if booking.frozen_at is not None:
        raise Conflict("Its configuration is frozen already.")
    missing = freeze_if_due(session, person, booking, now)
    if missing:
        raise Conflict(f"Nothing was frozen: {missing}")
    if booking.frozen_at is None:
        raise Conflict("Its draft is not approved by all who must agree; nothing can be frozen yet.")
    writing.step(session, person, booking, "Frozen", now)
    writing.tell(session, booking, "The configuration of your booking is frozen.", now, person.id)
    return booking


def cancel(session: Session, person: Person, number: int, now: datetime, note: str = "") -> Booking:
    """Cancel a booking; it is kept, with what the cancellation costs. One that has begun ends now."""
    booking = reading.find(session, number, lock=True)
    reading.need_hand(session, person, booking)
    if booking.state not in (BOOKED, *PLACELESS):
        raise Conflict(f"This booking is {writing.WORDS[booking.state]} already.")
    asking.note_checked(note)
    if booking.state == BOOKED:
        reading.need_not_over(booking, now)
    desk = reading.desk_of(session, booking, now)
    charge = charge_of(desk, booking, now)
    before = writing.plan_of(booking)
    end(session, booking, CANCELLED, now)
    parts.let_go(session, person, booking, now)
    data = {"before": before, "charge": vars(charge) if charge else None}
    writing.step(session, person, booking, "Cancelled", now, note.strip(), data)
    writing.tell(session, booking, "Your booking was cancelled.", now, person.id)
    writing.let_guests_go(session, person, booking, now, "the booking it shared was cancelled")
    writing.settle(session, person, desk, now, "the booking before it was cancelled")
    return booking


def charge_of(desk: Desk, booking: Booking, now: datetime) -> checks.Charge | None:
    """What giving a booking up now costs; None when it has no place."""
    if booking.state != BOOKED:
        return None
    return checks.cancel_charge(lines.chain_of(booking), booking.frozen_at, now, desk.rules)


def end(session: Session, booking: Booking, state: str, now: datetime) -> None:
    """Take a booking off the line; of one that has begun, what has passed stays on it."""
    phases = lines.phases_of(booking)
    begun = bool(phases) and phases[0].starts < now
    writing.give_up(session, [booking])
    booking.state, booking.ended_at, booking.altered_at = state, now, now
    booking.sequence += 1
    session.add(booking)
    if begun:
        writing.cut_to(session, booking, fairness.cut(phases, phases[0].starts, now), now)
    session.flush()
