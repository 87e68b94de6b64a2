"""What the page of one booking shows, and what somebody may do with it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.bookings import asking, configurations, drawing, lines, reading, reality, service
from server.bookings.checks import WANTS, Charge
from server.bookings.drawing import WIDTH, Bar
from server.bookings.finding import Slot
from server.bookings.models import Booking, BookingStep, Party
from server.bookings.rules import CLASSES, NONE, Phase
from server.bookings.views import Real, real
from server.bookings.writing import BOOKED, PLACELESS, WORDS
from server.cryostats import drafts, instruments
from server.cryostats.draft_models import Draft
from server.cryostats.models import Cryostat
from server.people.models import Person
from server.web import moments

SOME = 4


@dataclass(frozen=True)
class BookingView:
    """One booking with its phases, what happened to it, and what this person may do."""

    booking: Booking
    cryostat: Cryostat
    phases: Sequence[Phase]
    bars: Sequence[Bar]
    parties: Sequence[Party]
    steps: Sequence[BookingStep]
    draft: Draft | None
    sees: bool
    """True for those whom it concerns; others read who and when."""
    slack_h: float | None
    mine: bool
    steward: bool
    begun: bool
    over: bool
    said_begun: bool
    pending: BookingStep | None
    may_agree: bool
    charge: Charge | None
    slots: Sequence[Slot]
    real: Real
    may_leave: bool
    faults: Mapping[str, str] = field(default_factory=dict)
    conflict: str = ""
    causes: Sequence[tuple[str, str]] = tuple((key, words) for key, (words, _) in reality.CAUSES.items())

    @property
    def words(self) -> str:
        """Where it stands."""
        return WORDS[self.booking.state]

    @property
    def want_words(self) -> str:
        """What it wants inside."""
        return WANTS[self.booking.want]

    @property
    def change_words(self) -> str:
        """What is refitted."""
        return CLASSES[self.booking.change]

    def facts(self, zone: str) -> list[tuple[str, str]]:
        """What stands at the head of the page."""
        booking = self.booking
        rows = [("Cold hours", f"{booking.cold_hours:g} h")]
        if booking.window_starts and booking.window_ends and self.placed:
            rows.append(("Cold from", moments.when(booking.window_starts, zone)))
            rows.append(("Cold until", moments.when(booking.window_ends, zone)))
        rows.append(("Inside", self.want_words))
        if booking.change != NONE:
            rows.append(("Refit", self.change_words))
            frozen = moments.when(booking.frozen_at, zone) if booking.frozen_at else "not yet"
            rows.append(("Configuration frozen", frozen))
        if booking.group_name:
            rows.append(("Group", booking.group_name))
        if not self.sees:
            return rows
        more = (
            ("What for", booking.purpose),
            ("Hazards", booking.hazards),
            ("Temperature wanted", f"{booking.wanted_K:g} K" if booking.wanted_K else ""),
            ("Helper", booking.helper_name),
            ("Rule set aside", booking.override),
        )
        return rows + [row for row in more if row[1]]

    @property
    def placed(self) -> bool:
        """True while it has a place on the line."""
        return self.booking.state == BOOKED

    @property
    def waits(self) -> bool:
        """True while it waits for one."""
        return self.booking.state in PLACELESS


def page(
    session: Session,
    person: Person,
    number: int,
    now: datetime,
    faults: Mapping[str, str] | None = None,
    conflict: str = "",
) -> BookingView:
    """One booking as this person may see it."""
    booking = reading.find(session, number)
    desk = reading.desk_of(session, booking, now)
    phases, parties = lines.phases_of(booking), reading.parties(session, booking)
    mine = person.steward or person.id in {booking.owner_id, *(row.person_id for row in parties)}
    steps = reading.steps(session, booking)
    pending = reality.pending(session, booking) if booking.state == BOOKED else None
    begun = bool(phases) and phases[0].starts <= now
    movable = mine and not begun and booking.state in (BOOKED, *PLACELESS)
    return BookingView(
        booking=booking,
        cryostat=desk.cryostat,
        phases=phases,
        bars=drawing.bars(phases, phases[0].starts, phases[-1].ends, WIDTH) if phases else (),
        parties=parties,
        steps=steps,
        draft=_draft(session, booking),
        sees=reading.sees(session, person)(booking),
        slack_h=booking.slack_h,
        mine=mine,
        steward=person.steward,
        begun=begun,
        over=bool(phases) and phases[-1].ends <= now,
        said_begun=any(row.what == reality.BEGUN for row in steps),
        pending=pending,
        may_agree=pending is not None and _may_agree(session, person, pending),
        charge=service.charge_of(desk, booking, now) if mine else None,
        slots=_slots(session, booking, now) if movable else (),
        real=real(session, desk.cryostat, instruments.state_now(session, desk.cryostat), now),
        may_leave=not begun and booking.owner_id != person.id and _shares(person, parties),
        faults=faults or {},
        conflict=conflict,
    )


def _shares(person: Person, parties: Sequence[Party]) -> bool:
    return any(row.person_id == person.id for row in parties)


def _draft(session: Session, booking: Booking) -> Draft | None:
    kind, number = configurations.parted(booking.configuration)
    return drafts.find(session, number).draft if kind == configurations.DRAFT else None


def _may_agree(session: Session, person: Person, step: BookingStep) -> bool:
    following = reading.find(session, int(step.data["next"]))
    return person.steward or person.id == following.owner_id


def _slots(session: Session, booking: Booking, now: datetime) -> Sequence[Slot]:
    """The first other places for it, its own place counted as free."""
    desk = reading.desk_of(session, booking, now)
    ask = reading.ask_of(booking)
    free = lines.replaced(desk, desk.line.without(booking.id or 0))
    found = asking.slots_at(session, free, ask, now, SOME)
    return [row for row in found if row.chain.window.starts != booking.window_starts]
