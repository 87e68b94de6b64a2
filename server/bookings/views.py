"""What the plan shows: the timeline of all cryostats, the same as a list, and plan against what is so."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from server.bookings import drawing, fairness, holds, lines, reading, ruling
from server.bookings.drawing import Bar, Tick
from server.bookings.models import Booking, Hold, Occupancy, Telling
from server.bookings.rules import Phase
from server.bookings.worktime import WorkTime
from server.bookings.writing import WORDS
from server.cryostats import instruments
from server.cryostats.models import Cryostat, StateEntry
from server.cryostats.rules import STATES
from server.people.models import Person

WEEK, MONTH, LIST = "week", "month", "list"
VIEWS = {WEEK: "Week", MONTH: "Month", LIST: "List"}
HOUR_WIDTH = {WEEK: 6.8, MONTH: 2.2, LIST: 9.0}
"""How wide an hour is drawn."""
EXPECTED = {
    "hand-over-in": ("cold", "parked", "pumping", "warming"),
    "warm-up": ("warming",),
    "vent": ("open", "warming"),
    "refit": ("open",),
    "close": ("open", "pumping"),
    "pump": ("pumping",),
    "cool": ("cooling",),
    "settle": ("cold", "cooling"),
    "window": ("cold",),
    "hand-over-out": ("cold",),
}
"""The states in which a cryostat can be during a phase; a wait may be anything."""
EARLIEST, LATEST = date(1990, 1, 1), date(2800, 1, 1)
TOLD_DAYS = 14


@dataclass(frozen=True)
class Entry:
    """One booking or hold of the list."""

    cryostat: Cryostat
    booking: Booking | None
    hold: Hold | None
    phases: Sequence[Phase]
    starts: datetime
    ends: datetime
    purpose: str
    """Empty for those it does not concern."""

    @property
    def phase_words(self) -> str:
        """Its phases with their hours, as the timeline draws them."""
        return ", ".join(f"{row.words} {row.hours:.1f} h" for row in self.phases)


@dataclass(frozen=True)
class Drawn:
    """A booking or a hold on the timeline; `title` is read instead of the picture."""

    href: str
    title: str
    x: float
    width: float
    bars: Sequence[Bar] = ()
    hold: str = ""
    label: str = ""
    tentative: bool = False


@dataclass(frozen=True)
class Real:
    """What is so and what the plan says, side by side."""

    state: StateEntry | None
    booking: Booking | None
    phase: Phase | None
    apart: bool
    late_h: float
    """By how much the plan would have to shift to be true again; 0 where that is no question."""

    @property
    def words(self) -> str:
        """The state as people entered it."""
        return STATES[self.state.state] if self.state else "not entered"


@dataclass(frozen=True)
class Lane:
    """One cryostat on the timeline."""

    cryostat: Cryostat
    real: Real
    drawn: Sequence[Drawn]
    waiting: int


@dataclass(frozen=True)
class PlanView:
    """The plan of all cryostats for some days."""

    kind: str
    first: date
    last: date
    earlier: date
    later: date
    today: date
    lanes: Sequence[Lane]
    ticks: Sequence[Tick]
    width: float
    now_x: float | None
    entries: Sequence[Entry]
    waiting: Sequence[tuple[Booking, Cryostat]]
    told: Sequence[Telling]
    hours: float
    """Hours that really pass; not 168 in the week of a clock change."""
    kinds: Mapping[str, str] = field(default_factory=lambda: VIEWS)
    state_words: Mapping[str, str] = field(default_factory=lambda: WORDS)
    holds: Mapping[str, str] = field(default_factory=lambda: holds.KINDS)


def plan(session: Session, person: Person, kind: str, first: date | None, now: datetime) -> PlanView:
    """The plan from a day on, the week's Monday or the month's first before it."""
    kind = kind if kind in VIEWS else WEEK
    rules = ruling.numbers_of(session)
    work = ruling.work_time(session, rules)
    today = work.day_of(now)
    begin, end = span(kind, first or today)
    begins, ends = midnight(begin, work.zone), midnight(end, work.zone)
    cryostats = instruments.all_of(session)
    width = drawing.hours_between(begins, ends) * HOUR_WIDTH[kind]
    rows = _entries(session, person, cryostats, begins, ends)
    states = instruments.states_now(session)
    waiting = reading.placeless(session)
    by_key = {row.id: row for row in cryostats}
    return PlanView(
        kind=kind,
        first=begin,
        last=end - timedelta(days=1),
        earlier=begin - (end - begin) if kind != MONTH else (begin - timedelta(days=1)).replace(day=1),
        later=end,
        today=today,
        lanes=[
            Lane(
                row,
                real(session, row, states.get(row.id or 0), now),
                [_drawn(one, begins, ends, width) for one in rows if one.cryostat.id == row.id],
                sum(1 for one in waiting if one.cryostat_id == row.id),
            )
            for row in cryostats
        ],
        ticks=ticks(work, begin, end, width),
        width=round(width, 2),
        now_x=drawing.place(now, begins, ends, width) if begins <= now < ends else None,
        entries=rows,
        waiting=[(row, by_key[row.cryostat_id]) for row in waiting],
        told=told(session, person, now),
        hours=drawing.hours_between(begins, ends),
    )


def span(kind: str, day: date) -> tuple[date, date]:
    """The first day that is shown, and the day after the last."""
    day = min(max(day, EARLIEST), LATEST)
    if kind == MONTH:
        begin = day.replace(day=1)
        return begin, (begin + timedelta(days=32)).replace(day=1)
    begin = day - timedelta(days=day.weekday())
    return begin, begin + timedelta(days=7)


def midnight(day: date, zone: str) -> datetime:
    """When a day begins in the laboratory, in UTC."""
    return datetime.combine(day, time(), ZoneInfo(zone)).astimezone(UTC)


def ticks(work: WorkTime, begin: date, end: date, width: float) -> list[Tick]:
    """Every day of a stretch; a day of a clock change is as wide as it is long."""
    first, last = midnight(begin, work.zone), midnight(end, work.zone)
    found = []
    for number in range((end - begin).days):
        day = begin + timedelta(days=number)
        starts, ends = midnight(day, work.zone), midnight(day + timedelta(days=1), work.zone)
        x = drawing.place(starts, first, last, width)
        room = drawing.place(ends, first, last, width) - x
        works = work.stretch(day) is not None
        found.append(Tick(x, round(room, 2), day, works, work.holiday(day)))
    return found


def _entries(
    session: Session, person: Person, cryostats: Sequence[Cryostat], first: datetime, last: datetime
) -> list[Entry]:
    by_key = {row.id or 0: row for row in cryostats}
    query = select(Booking, Occupancy).join(Occupancy, col(Occupancy.id) == col(Booking.occupancy_id))
    query = query.where(col(Occupancy.ends) > first, col(Occupancy.starts) < last)
    sees = reading.sees(session, person)
    found = [
        Entry(
            by_key[row.cryostat_id],
            row,
            None,
            lines.phases_of(row),
            place.starts,
            place.ends,
            row.purpose if sees(row) else "",
        )
        for row, place in session.exec(query).all()
    ]
    found += [
        Entry(by_key[row.cryostat_id], None, row, (), row.starts, row.ends, row.reason)
        for row in holds.between(session, list(by_key), first, last)
    ]
    return sorted(found, key=lambda row: (row.starts, row.cryostat.name))


def _drawn(entry: Entry, first: datetime, last: datetime, width: float) -> Drawn:
    x = drawing.place(entry.starts, first, last, width)
    room = round(drawing.place(entry.ends, first, last, width) - x, 2)
    if entry.hold is not None:
        words = f"Hold, {holds.KINDS[entry.hold.kind]}: {entry.hold.reason}"
        label = drawing.fitted(entry.hold.reason, room - 8)
        href = f"/cryostats/{entry.cryostat.slug}/holds"
        return Drawn(href, words, x, room, hold="soft" if entry.hold.soft else "hard", label=label)
    booking = entry.booking
    assert booking is not None
    words = f"{entry.cryostat.name}: {booking.owner_name}, {booking.cold_hours:g} cold hours"
    shown = drawing.bars(entry.phases, first, last, width, booking.owner_name)
    return Drawn(f"/bookings/{booking.id}", words, x, room, shown, tentative=booking.tentative)


def real(session: Session, cryostat: Cryostat, state: StateEntry | None, now: datetime) -> Real:
    """What people entered, what the plan says, and by how much the plan is behind."""
    found = reading.now_and_next(session, cryostat.id or 0, now)
    phase = found.phase
    known = state is not None and phase is not None and phase.kind in EXPECTED
    apart = known and state is not None and phase is not None and state.state not in EXPECTED[phase.kind]
    late = _late(found.booking, state, now) if apart and found.booking and state else 0.0
    return Real(state, found.booking, phase, apart, late)


@dataclass(frozen=True)
class NowView:
    """Who has one cryostat by the plan, until when, and who is next: a part of its page."""

    cryostat: Cryostat
    hold: Hold | None
    booking: Booking | None
    phase: Phase | None
    until: datetime | None
    next: Booking | None
    next_starts: datetime | None

    @property
    def hold_words(self) -> str:
        """What kind of hold it is."""
        return holds.KINDS[self.hold.kind].capitalize() if self.hold else ""


def now_part(session: Session, cryostat: Cryostat, now: datetime) -> NowView:
    """Who has it now and who is next. Purposes are left to those whom a booking concerns."""
    found = reading.now_and_next(session, cryostat.id or 0, now)
    return NowView(
        cryostat=cryostat,
        hold=found.hold,
        booking=found.booking,
        phase=found.phase,
        until=lines.phases_of(found.booking)[-1].ends if found.booking else None,
        next=found.next,
        next_starts=lines.phases_of(found.next)[0].starts if found.next else None,
    )


def _late(booking: Booking, state: StateEntry, now: datetime) -> float:
    """Hours since the phase that fits the state should have ended, to the next half hour."""
    fitting = [
        row
        for row in lines.phases_of(booking)
        if row.ends <= now and state.state in EXPECTED.get(row.kind, ()) and row.kind != "hand-over-in"
    ]
    if not fitting:
        return 0.0
    halves = (now - fitting[-1].ends) / timedelta(minutes=30)
    return (int(halves) + 1) / 2


def told(session: Session, person: Person, now: datetime) -> Sequence[Telling]:
    """What somebody was told in the last fortnight, newest first."""
    since = now - timedelta(days=TOLD_DAYS)
    query = select(Telling).where(Telling.person_id == person.id, Telling.at >= since)
    return session.exec(query.order_by(col(Telling.id).desc()).limit(20)).all()


@dataclass(frozen=True)
class SharesView:
    """Who used how much, and the rule by which it is counted."""

    uses: Sequence[fairness.Use]
    days: float
    training_part: float


def shares(session: Session, now: datetime) -> SharesView:
    """The fairness table."""
    rules = ruling.numbers_of(session)
    uses = fairness.use(session, rules, now)
    return SharesView(uses, rules.value("quota_days"), rules.value("training_part"))
