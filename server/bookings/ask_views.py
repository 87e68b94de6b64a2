"""What the asking page shows: the wish as typed, and the first slots with everything around them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from urllib.parse import urlencode

from sqlmodel import Session

from server import units
from server.bookings import asking, checks, configurations, drawing, fairness, grades, lines, parts
from server.bookings.checks import AS_IS, DRAFT, HOUSE, WANTS, Ask
from server.bookings.drawing import WIDTH, Bar
from server.bookings.finding import Slot
from server.bookings.lines import Desk
from server.bookings.models import Group
from server.bookings.rules import CLASSES, NONE, Phase
from server.cryostats import draft_rules, drafts, guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE
from server.errors import NotFound, Refused
from server.people.models import Person
from server.physics.statistics import Band
from server.stock.service import Short

MOST = 5
NAMED = 5


@dataclass(frozen=True)
class Offer:
    """One slot as a person weighs it."""

    number: int
    slot: Slot
    short: Sequence[Short]
    helpers: Sequence[Person]
    grade: int
    moves_next: bool

    @property
    def phases(self) -> Sequence[Phase]:
        """Its phases, in order."""
        return self.slot.chain.phases

    @property
    def bars(self) -> Sequence[Bar]:
        """The same drawn along a line."""
        return drawing.bars(self.phases, self.slot.chain.starts, self.slot.chain.ends, WIDTH)

    @property
    def change_words(self) -> str:
        """What is refitted."""
        return CLASSES[self.slot.chain.change]

    @property
    def hands_on_h(self) -> float:
        """Hours in which somebody must be there."""
        return sum(row.hours for row in self.phases if row.hands_on)

    @property
    def helper_words(self) -> str:
        """Who has the grade, some of them by name."""
        names = [row.name for row in self.helpers]
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        return ", ".join(names[:NAMED]) + more or "nobody has it yet"

    @property
    def spare_h(self) -> float | None:
        """How far the hands-on work may slip within its day; None where that is no question."""
        slack = self.slot.chain.slack
        return None if slack is None else slack / timedelta(hours=1)


@dataclass(frozen=True)
class Reach:
    """What the configuration will reach, from its stored budget."""

    temperatures: Mapping[str, Band]
    gaps: int
    stage: str
    wanted_K: float | None

    @property
    def verdict(self) -> str:
        """What it says to the temperature wanted: within, may exceed, over, incomplete, or nothing."""
        if self.wanted_K is None:
            return ""
        found = self.temperatures.get(self.stage)
        if found is None or found.low is None:
            return "incomplete"
        if found.low > self.wanted_K:
            return "over"
        return "within" if found.high is not None and found.high <= self.wanted_K else "may exceed"


@dataclass(frozen=True)
class AskView:
    """The page on which somebody asks for cold hours."""

    cryostat: Cryostat
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    configurations: Sequence[tuple[str, str]]
    groups: Sequence[Group]
    people: Sequence[tuple[str, str]]
    steward: bool
    may_ask: bool
    asked: bool = False
    offers: Sequence[Offer] = ()
    reach: Reach | None = None
    conflict: str = ""
    later: Slot | None = None
    """Where nothing is free until the latest end: the first slot after it."""
    in_the_way: str = ""
    """What stands at the beginning of the time asked for, in words."""
    carried: Mapping[str, str] = field(default_factory=dict)

    @property
    def due_address(self) -> str:
        """Where it is told what may fall due while any of the slots lasts; empty without one."""
        if not self.offers:
            return ""
        chains = [offer.slot.chain for offer in self.offers]
        span = {"from": min(row.starts for row in chains), "until": max(row.ends for row in chains)}
        asked = urlencode({name: at.isoformat() for name, at in span.items()})
        return f"/cryostats/{self.cryostat.slug}/maintenance/falling-due?{asked}"

    @property
    def group_choices(self) -> list[tuple[str, str]]:
        """The groups to choose from."""
        return [(str(row.id), row.name) for row in self.groups]

    @property
    def only_group(self) -> str:
        """The group that is meant when there is one."""
        return str(self.groups[0].id) if len(self.groups) == 1 else ""

    @property
    def reach_rows(self) -> list[tuple[str, str]]:
        """Stage and temperature, as facts."""
        found = self.reach.temperatures if self.reach else {}
        return [(stage.capitalize(), units.show_band(band, "K")) for stage, band in found.items()]


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    now: datetime,
    typed: Mapping[str, str],
    ask: Ask | None,
    faults: Mapping[str, str] | None = None,
    conflict: str = "",
) -> AskView:
    """The wish as typed and, when it can be read, the first slots for it."""
    desk = lines.desk(session, cryostat, now)
    offers, reach = ((), None) if ask is None or faults else _answer(session, desk, ask, now)
    nothing = ask is not None and not faults and not offers
    rows = guards.grade_rows(session, cryostat)
    able = [(str(row.id), row.name) for row, grade in rows if grade or row.steward]
    return AskView(
        cryostat=cryostat,
        typed=typed,
        faults=faults or {},
        configurations=_configurations(session, cryostat),
        groups=fairness.groups_of(session, person),
        people=[("", "nobody"), *able],
        steward=person.steward,
        may_ask=guards.grade_of(session, person, cryostat) >= OPERATE,
        asked=ask is not None and not faults,
        offers=offers,
        reach=reach,
        conflict=conflict,
        later=_later(session, desk, ask, now) if nothing and ask is not None else None,
        in_the_way=asking.why_not(desk, max(ask.earliest or now, now), ask) if nothing and ask else "",
        carried={name: value for name, value in typed.items() if value},
    )


def _later(session: Session, desk: Desk, ask: Ask, now: datetime) -> Slot | None:
    found = asking.slots_at(session, desk, replace(ask, latest=None), now, 1) if ask.latest else []
    return found[0] if found else None


def _configurations(session: Session, cryostat: Cryostat) -> list[tuple[str, str]]:
    rows = [(AS_IS, WANTS[AS_IS].capitalize())]
    for sheet in drafts.of_cryostat(session, cryostat):
        if sheet.draft.house:
            rows.insert(1, (HOUSE, f"The house configuration: {sheet.draft.name}"))
        elif not sheet.standing.over and sheet.standing.state != draft_rules.SENT_BACK:
            rows.append((f"{DRAFT}:{sheet.draft.id}", f"{sheet.draft.name} ({sheet.standing.words})"))
    return rows


def _answer(session: Session, desk: Desk, ask: Ask, now: datetime) -> tuple[Sequence[Offer], Reach | None]:
    slots = asking.slots_at(session, desk, ask, now, MOST)
    needed = [asking.grade_of(desk, row.chain, ask.want, row.chain.window.starts) for row in slots]
    helpers = {grade: grades.helpers(session, desk, grade, now) for grade in set(needed)}
    offers = [
        _offer(session, slot, number, grade, helpers[grade], now)
        for number, (slot, grade) in enumerate(zip(slots, needed, strict=True), 1)
    ]
    if not slots:
        return (), None
    return offers, _reach(desk, slots[0].chain.configuration, ask.wanted_K)


def _offer(
    session: Session, slot: Slot, number: int, grade: int, helpers: Sequence[Person], now: datetime
) -> Offer:
    return Offer(
        number=number,
        slot=slot,
        short=parts.short(session, slot.chain.change, now) if slot.chain.change != NONE else (),
        helpers=helpers,
        grade=grade,
        moves_next=slot.right_again is not None,
    )


def _reach(desk: Desk, configuration: str, wanted_K: float | None) -> Reach:
    found = configurations.budget_of(desk.book, configuration).budget
    stages = [row for row in reversed(desk.cryostat.stages) if row != "vessel"]
    stage = next((row for row in stages if row in found.temperatures), stages[0])
    shown = {row: found.temperatures[row] for row in desk.cryostat.stages if row in found.temperatures}
    return Reach(shown, len(found.gaps), stage, wanted_K)


def faults(session: Session, person: Person, cryostat: Cryostat, ask: Ask) -> dict[str, str]:
    """What is wrong with a wish, before slots are looked for."""
    found = checks.faults(ask, steward=person.steward)
    found |= checks.typed_moment_faults("earliest", ask.earliest)
    found |= checks.typed_moment_faults("latest", ask.latest)
    try:
        asking.wish_for(session, cryostat, ask)
    except (Refused, NotFound) as problem:
        found["inside"] = problem.message if isinstance(problem, NotFound) else "Choose what shall be inside"
    return found
