"""Two sheets of paper: the slip that goes with a hand-over, and the card on the door."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.bookings import lines, reading, writing
from server.bookings.models import Booking, BookingStep, Hold
from server.bookings.rules import HANDS_ON, Phase
from server.cooldowns import night_orders
from server.cooldowns.night_rules import Contact
from server.cryostats import guards, instruments
from server.cryostats.models import Cryostat, StateEntry
from server.cryostats.rules import LONGEST_NOTE, STATES, text_faults
from server.errors import Conflict, Refused
from server.faults import service as faults
from server.faults.models import Fault
from server.laboratory import service as laboratory
from server.people.models import Person
from server.web import moments

HANDED_OVER = "Handed over"
LEFT = {
    "cold": "cold, ready for the next",
    "warming": "warming, somebody watches it",
    "warm": "warm and closed",
    "open": "open, work goes on",
}
MORE = (
    "Samples and tools are taken out, parts counted",
    "Cables of this run are off or labelled",
    "What was used is written in the stock book",
    "Limits and alarms stand as they stood before",
)
"""What a hand-over goes through; common practice, no source."""


@dataclass(frozen=True)
class Door:
    """What somebody at the door needs: the state people entered, who has it, until when, whom to call."""

    cryostat: Cryostat
    state: StateEntry | None
    booking: Booking | None
    phase: Phase | None
    hold: Hold | None
    until: datetime | None
    next: Booking | None
    contacts: Sequence[Contact]
    faults: Sequence[Fault]
    at: datetime

    @property
    def words(self) -> str:
        """The state as people entered it."""
        return STATES[self.state.state] if self.state else "not entered"


def door(session: Session, slug: str, now: datetime) -> Door:
    """The card of a cryostat's door; NotFound."""
    cryostat = guards.find(session, slug)
    assert cryostat.id is not None
    found = reading.now_and_next(session, cryostat.id, now)
    here = moments.local(now, laboratory.get(session).zone).date()
    until = lines.phases_of(found.booking)[-1].ends if found.booking else None
    return Door(
        cryostat=cryostat,
        state=instruments.state_now(session, cryostat),
        booking=found.booking,
        phase=found.phase,
        hold=found.hold,
        until=found.hold.ends if found.hold else until,
        next=found.next,
        contacts=night_orders.on_call(session, cryostat, here),
        faults=faults.open_faults(session, cryostat.id),
        at=now,
    )


@dataclass(frozen=True)
class Slip:
    """The slip of one booking's end; `said` is what was written when it was handed over."""

    booking: Booking
    cryostat: Cryostat
    state: StateEntry | None
    next: Booking | None
    hands_on: Sequence[Phase]
    """The next one's work by hand, in order."""
    faults: Sequence[Fault]
    said: BookingStep | None
    mine: bool
    at: datetime

    @property
    def words(self) -> str:
        """The state as people entered it."""
        return STATES[self.state.state] if self.state else "not entered"


def slip(session: Session, person: Person, number: int, now: datetime) -> Slip:
    """The hand-over slip of a booking; NotFound."""
    booking = reading.find(session, number)
    cryostat = session.get(Cryostat, booking.cryostat_id)
    assert cryostat is not None
    assert cryostat.id is not None
    ends = booking.window_ends or now
    following = next(
        (row for row in reading.ahead(session, cryostat, booking.window_starts or now) if row.id != number),
        None,
    )
    following = following if following and (following.window_starts or now) >= ends else None
    keys = {booking.owner_id, *(row.person_id for row in reading.parties(session, booking))}
    said = [row for row in reading.steps(session, booking) if row.what == HANDED_OVER]
    phases = lines.phases_of(following) if following else ()
    return Slip(
        booking=booking,
        cryostat=cryostat,
        state=instruments.state_now(session, cryostat),
        next=following,
        hands_on=[row for row in phases if row.kind in HANDS_ON],
        faults=faults.open_faults(session, cryostat.id),
        said=said[-1] if said else None,
        mine=person.steward or person.id in keys,
        at=now,
    )


def hand_over(session: Session, person: Person, number: int, left: str, note: str, now: datetime) -> Booking:
    """Write down how the cryostat was left. It says so in words; the state is entered on its own page."""
    booking = reading.find(session, number, lock=True)
    reading.need_hand(session, person, booking)
    reading.need_place(booking)
    phases = lines.phases_of(booking)
    if phases[0].starts > now:
        raise Conflict("This booking has not begun; there is nothing to hand over.")
    found = text_faults("note", "the note", note, LONGEST_NOTE)
    if left not in LEFT:
        found["left"] = "Choose how it is left"
    if found:
        raise Refused("Nothing was written down.", found)
    cryostat = session.get(Cryostat, booking.cryostat_id)
    assert cryostat is not None
    words = f"{LEFT[left]}. {note.strip()}".strip()
    writing.step(session, person, booking, HANDED_OVER, now, words, {"left": left})
    following = next(iter(reading.ahead(session, cryostat, now)), None)
    if following is not None:
        told = f"{cryostat.name} was handed over: {words}"
        writing.tell(session, following, told, now, person.id)
    return booking
