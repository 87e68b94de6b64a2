"""What the first page shows, as typed views."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.bookings.models import Booking, Hold
from server.bookings.rules import WORDS
from server.cooldowns.readings_asked import Latest
from server.cryostats import samples
from server.cryostats.models import Cryostat, StateEntry
from server.cryostats.rules import STATES
from server.cryostats.samples import Inside
from server.notices import service as notices
from server.notices.rules import KINDS, STOPS, Notice
from server.notices.running import Floor
from server.people.models import Person
from server.today import finding
from server.today.finding import Plan
from server.today.rules import age_words, thermometers
from server.units import in_unit

MOST_NAMED = 4


@dataclass(frozen=True)
class Cold:
    """One thermometer: its value where it is present, else only since when there is none."""

    stage: str
    value: str
    kelvin: float | None
    age: str
    silent: bool


@dataclass(frozen=True)
class Card:
    """One cryostat at a glance."""

    cryostat: Cryostat
    state: StateEntry | None
    state_words: str
    shutters: Sequence[tuple[str, str]]
    samples: Sequence[Inside]
    guests: Sequence[str]
    more: int
    cold: Sequence[Cold]
    booking: Booking | None
    phase: str
    hold: Hold | None
    next: Booking | None
    next_at: datetime | None


@dataclass(frozen=True)
class Line:
    """One notice with its word and the kind of tag."""

    notice: Notice
    word: str
    tag: str


@dataclass(frozen=True)
class TodayView:
    """The first page."""

    lines: Sequence[Line]
    cards: Sequence[Card]
    at: datetime

    @property
    def stops(self) -> int:
        """How many of the lines stop work now."""
        return sum(line.notice.weight == STOPS for line in self.lines)


def today(session: Session, person: Person, now: datetime) -> TodayView:
    """For the person signed in; the same few looks at the database however long the books are."""
    floor = notices.floor_now(session, now)
    return TodayView(
        [line_of(row) for row in notices.for_person(session, person, now, floor)],
        cards(session, floor, now),
        now,
    )


def line_of(notice: Notice) -> Line:
    """A notice as the page has it."""
    return Line(notice, KINDS[notice.kind], "bad" if notice.weight == STOPS else "warn")


def cards(session: Session, floor: Floor, now: datetime) -> list[Card]:
    """Every cryostat at a glance."""
    plans, guests = finding.plans(session, now), finding.guests(session)
    inside = samples.inside(session, floor.cryostats)
    return [_card(row, floor, plans, guests, inside, now) for row in floor.cryostats]


def _card(
    cryostat: Cryostat,
    floor: Floor,
    plans: Mapping[int, Plan],
    guests: Mapping[int, Sequence[str]],
    inside: Mapping[int, Sequence[Inside]],
    now: datetime,
) -> Card:
    key = cryostat.id or 0
    plan, state, named = plans.get(key, Plan()), floor.states.get(key), guests.get(key, ())
    return Card(
        cryostat=cryostat,
        state=state,
        state_words=STATES[state.state] if state else "not entered yet",
        shutters=floor.shutters.get(key, ()),
        samples=inside.get(key, ()),
        guests=named[:MOST_NAMED],
        more=max(0, len(named) - MOST_NAMED),
        cold=[cold_of(row, now) for row in thermometers(floor.newest.get(key, ()))],
        booking=plan.booking,
        phase=WORDS[plan.phase.kind] if plan.phase else "",
        hold=plan.hold,
        next=plan.next,
        next_at=plan.next_at,
    )


def cold_of(row: Latest, now: datetime) -> Cold:
    """A reading with its age. Where it is too old to be the present, its value is not told at all."""
    value = "" if row.value is None else in_unit(row.value, "K")
    age = age_words(row.last_at, now) if row.last_at else "ever"
    return Cold(row.channel.stage, value, row.value, age, row.silent)
