"""What becomes of a plan: begun, shortened, overrun with a yes, not begun, given back, shifted.

What the cryostat does is entered by people as its state; nothing here is inferred from the plan.
"""

from datetime import datetime, timedelta

from sqlmodel import Session

from server.bookings import fairness, finding, laying, lines, parts, reading, rules, service, writing
from server.bookings.laying import Chain
from server.bookings.lines import Desk
from server.bookings.models import Booking, BookingStep
from server.bookings.rules import HAND_OUT, WAIT, WINDOW, Phase
from server.bookings.worktime import WorkTime
from server.cryostats import guards
from server.cryostats.rules import LONGEST_NOTE, text_faults
from server.errors import Conflict, Forbidden, Refused
from server.people.models import Person

BEGUN, ASKED, AGREED, NOT_BEGUN = "Begun", "Asked to stay longer", "Agreed to an overrun", "Not begun"
CAUSES = {
    "instrument": ("a fault of the instrument", 1.0),
    "shared": ("shared or unknown", 0.5),
    "user": ("a fault of the user's own configuration", 0.0),
}
"""What took cold hours, and which part of them is given back."""
LONGEST_SHIFT_H = 24 * 14.0


def begin(session: Session, person: Person, number: int, now: datetime) -> Booking:
    """Write down that its people are at it."""
    booking = _own(session, person, number)
    if _said(session, booking, BEGUN):
        raise Conflict("It is written down as begun already.")
    phases = lines.phases_of(booking)
    if now < phases[0].starts - timedelta(hours=1):
        raise Conflict("Its time has not come yet; move it to begin earlier.")
    writing.step(session, person, booking, BEGUN, now)
    return booking


def _own(session: Session, person: Person, number: int) -> Booking:
    booking = reading.find(session, number, lock=True)
    reading.need_hand(session, person, booking)
    reading.need_place(booking)
    return booking


def _said(session: Session, booking: Booking, what: str) -> BookingStep | None:
    found = [row for row in reading.steps(session, booking) if row.what == what]
    return found[-1] if found else None


def ends_at(desk: Desk, booking: Booking, window_ends: datetime) -> Chain:
    """The chain of a booking whose cold window ends at another time."""
    old = lines.chain_of(booking)
    window = old.window
    before = [row for row in old.phases if row.ends <= window.starts]
    out = rules.hours_of(HAND_OUT, old.change, desk.kit.durations)
    out_starts = _work(desk, booking).first_fit(window_ends, out)
    assert out_starts is not None
    laid = [*before, Phase(WINDOW, window.starts, window_ends), Phase(HAND_OUT, out_starts, out_starts + out)]
    return Chain(laying.touching(laid), old.configuration, old.change, old.cold_found, old.slack)


def _work(desk: Desk, booking: Booking) -> WorkTime:
    return laying.at_any_hour(desk.work) if booking.any_hour else desk.work


def shorten(session: Session, person: Person, number: int, window_ends: datetime, now: datetime) -> Booking:
    """End a cold window earlier; what is freed can be taken by others."""
    booking = _own(session, person, number)
    window = lines.chain_of(booking).window
    if not max(window.starts, now) <= window_ends < window.ends or window_ends == window.starts:
        fault = "The window must end earlier than now planned, after it began, and not in the past"
        raise Refused("Not shortened.", {"window_ends": fault})
    desk = reading.desk_of(session, booking, now)
    _give(
        session, person, desk, booking, ends_at(desk, booking, window_ends), now, "Shortened", may_move=False
    )
    return booking


def _give(
    session: Session,
    person: Person,
    desk: Desk,
    booking: Booking,
    chain: Chain,
    now: datetime,
    what: str,
    *,
    may_move: bool,
) -> None:
    """Give a booking another chain in its place and lay the others again around it."""
    before = writing.plan_of(booking)
    assert booking.id is not None
    line = desk.line.altered(booking.id, chain).fixed(booking.id)
    why = f"the booking of {booking.owner_name} before it: {what.lower()}"
    writing.rewrite(session, person, desk, line, now, why, own={booking.id: chain}, may_move=may_move)
    window = chain.window
    booking.cold_hours = window.hours
    session.add(booking)
    writing.step(session, person, booking, what, now, "", {"before": before})
    writing.tell(session, booking, f"{what}.", now, person.id)


def extend(
    session: Session, person: Person, number: int, window_ends: datetime, now: datetime
) -> BookingStep | None:
    """Let a cold window last longer.

    Where nobody's window has to move, or within the grace, it is done and None comes back. Otherwise the next
    owner is asked: the step that waits for their yes comes back, and nothing has moved yet.
    """
    booking = _own(session, person, number)
    reading.need_not_over(booking, now)
    desk = reading.desk_of(session, booking, now)
    window = lines.chain_of(booking).window
    longest = timedelta(days=desk.rules.value("longest_days"))
    if not window.ends < window_ends <= window.starts + longest:
        fault = f"The window must end later than now planned, and last at most {longest.days} days"
        raise Refused("Not extended.", {"window_ends": fault})
    chain = ends_at(desk, booking, window_ends)
    mine = booking.id or 0
    again = finding.relay(desk.kit, desk.line.altered(mine, chain).fixed(mine))
    _refuse_hold(desk, chain)
    grace = timedelta(hours=desk.rules.value("grace_h"))
    moves = bool(again.homeless)
    if not moves or person.steward or window_ends - _first_end(session, booking) <= grace:
        _give(session, person, desk, booking, chain, now, "Extended", may_move=True)
        return None
    return _ask_next(session, person, booking, again.homeless[0], window_ends, now)


def _refuse_hold(desk: Desk, chain: Chain) -> None:
    for row in desk.line.blocks:
        if row.wish is None and row.starts < chain.ends and row.ends > chain.starts:
            raise Conflict("A hold stands behind it; nobody stays longer than that.")


def _first_end(session: Session, booking: Booking) -> datetime:
    """When the window ended in the plan before anybody stayed longer, so that grace is not had twice."""
    for row in reading.steps(session, booking):
        if row.what == "Extended" and row.data.get("before", {}).get("window_ends"):
            return datetime.fromisoformat(row.data["before"]["window_ends"])
    assert booking.window_ends is not None
    return booking.window_ends


def _ask_next(
    session: Session, person: Person, booking: Booking, key: int, until: datetime, now: datetime
) -> BookingStep:
    following = reading.find(session, key)
    data = {"until": until.isoformat(), "next": key}
    step = writing.step(session, person, booking, ASKED, now, "", data)
    longer_h = (until - (booking.window_ends or until)) / timedelta(hours=1)
    words = f"{booking.owner_name} asks to stay {longer_h:g} h longer; yours would move. Say yes or no."
    writing.tell(session, following, words, now, person.id)
    session.flush()
    return step


def pending(session: Session, booking: Booking) -> BookingStep | None:
    """A wish to stay longer that nobody has agreed to yet."""
    asked, agreed = _said(session, booking, ASKED), _said(session, booking, AGREED)
    if asked is None or (agreed is not None and (agreed.id or 0) > (asked.id or 0)):
        return None
    return asked


def agree(session: Session, person: Person, number: int, now: datetime) -> Booking:
    """The next owner's yes: the window lasts longer, and what comes after moves with it."""
    booking = reading.find(session, number, lock=True)
    reading.need_place(booking)
    reading.need_not_over(booking, now)
    asked = pending(session, booking)
    if asked is None:
        raise Conflict("Nobody asks to stay longer here.")
    reading.need_hand(session, person, reading.find(session, int(asked.data["next"])))
    desk = reading.desk_of(session, booking, now)
    chain = ends_at(desk, booking, datetime.fromisoformat(asked.data["until"]))
    writing.step(session, person, booking, AGREED, now)
    _give(session, person, desk, booking, chain, now, "Extended", may_move=True)
    return booking


def no_show(session: Session, person: Person, number: int, now: datetime) -> Booking:
    """Offer the time of somebody who has not begun within some working hours to those who wait."""
    booking = reading.find(session, number, lock=True)
    reading.need_place(booking)
    reading.need_not_over(booking, now)
    desk = reading.desk_of(session, booking, now)
    guards.need(session, person, desk.cryostat, 1)
    if _said(session, booking, BEGUN):
        raise Conflict("It is written down as begun.")
    phases = lines.phases_of(booking)
    late, limit_h = desk.work.worked(phases[0].starts, now), desk.rules.value("no_show_h")
    if late < timedelta(hours=limit_h):
        raise Conflict(f"It is offered to others once it is {limit_h:g} working hours late.")
    before = writing.plan_of(booking)
    charge = service.charge_of(desk, booking, now)
    service.end(session, booking, writing.NO_SHOW, now)
    parts.let_go(session, person, booking, now)
    data = {"before": before, "charge": vars(charge) if charge else None}
    writing.step(session, person, booking, NOT_BEGUN, now, "", data)
    writing.tell(session, booking, "Your booking was not begun in time and is offered to others.", now)
    writing.let_guests_go(session, person, booking, now, "the booking it shared was not begun")
    writing.settle(session, person, desk, now, "the booking before it was not begun")
    for waiting in reading.placeless(session, desk.cryostat):
        writing.tell(session, waiting, f"Time on {desk.cryostat.name} came free; choose a place.", now)
    return booking


def give_back(
    session: Session, person: Person, number: int, hours: float, cause: str, note: str, now: datetime
) -> BookingStep:
    """Say what took cold hours of a booking; an instrument's fault gives them back, a user's own does not."""
    if not person.steward:
        raise Forbidden("Only a steward says what took somebody's hours.")
    booking = reading.find(session, number, lock=True)
    found = text_faults("note", "the note", note, LONGEST_NOTE)
    if cause not in CAUSES:
        found["cause"] = "Choose the cause"
    planned = booking.cold_hours
    if not 0 < hours <= planned:
        found["hours"] = f"Enter hours from 0 to the {planned:g} of this booking"
    if not note.strip():
        found["note"] = "Enter what happened, in a few words"
    if found:
        raise Refused("Nothing was written down.", found)
    words, part = CAUSES[cause]
    data = {"hours": part * hours, "lost_h": hours, "cause": cause}
    step = writing.step(session, person, booking, fairness.GIVEN_BACK, now, f"{words}: {note.strip()}", data)
    told = f"{hours:g} cold hours were lost by {words}; {part * hours:g} h do not count against you."
    writing.tell(session, booking, told, now, person.id)
    session.flush()
    return step


def shift(session: Session, person: Person, number: int, late_h: float, now: datetime) -> Booking:
    """Shift what is left of a running booking by some hours, and the plan behind it with it."""
    booking = _own(session, person, number)
    desk = reading.desk_of(session, booking, now)
    phases = lines.phases_of(booking)
    if not 0 < late_h <= LONGEST_SHIFT_H:
        raise Refused("Nothing was shifted.", {"late_h": "Enter hours from 0 to 336"})
    if not phases[0].starts <= now < phases[-1].ends:
        raise Conflict("Only a booking that is running is shifted; the others can be moved.")
    grace = desk.rules.value("grace_h")
    if not person.steward and late_h > grace:
        raise Forbidden(f"Beyond {grace:g} h a steward shifts the plan, since it moves others.")
    chain = shifted(desk, booking, timedelta(hours=late_h), now)
    _refuse_hold(desk, chain)
    _give(session, person, desk, booking, chain, now, f"Shifted by {late_h:g} h", may_move=True)
    return booking


def shifted(desk: Desk, booking: Booking, late: timedelta, now: datetime) -> Chain:
    """The chain of a running booking when what is left of it comes later; hands-on work keeps its hours."""
    old, work = lines.chain_of(booking), _work(desk, booking)
    laid: list[Phase] = []
    for row in old.phases:
        if row.ends <= now:
            laid.append(row)
        elif row.starts <= now:
            laid += _late(laid, row, late)
        elif row.kind != WAIT:
            after = max(laid[-1].ends, row.starts) if laid else row.starts
            length = row.ends - row.starts
            start = work.first_fit(after, length) if row.hands_on else after
            laid.append(Phase(row.kind, start or after, (start or after) + length))
    return Chain(laying.touching(laid), old.configuration, old.change, old.cold_found, old.slack)


def _late(before: list[Phase], row: Phase, late: timedelta) -> list[Phase]:
    """The phase that runs lasts longer; a window that should run has not begun, and keeps its hours."""
    if row.kind != WINDOW:
        return [Phase(row.kind, row.starts, row.ends + late)]
    begins = row.starts + late
    if before:
        last = before.pop()
        before.append(Phase(last.kind, last.starts, begins))
    return [Phase(WINDOW, begins, row.ends + late)]
