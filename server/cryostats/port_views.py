"""What the pages of ports, pins and continuity show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from server.cryostats import contents, drafts, guards, ports
from server.cryostats.models import Cryostat
from server.cryostats.port_comparison import Moved, by_place, isolation_moved, moved, ohm
from server.cryostats.port_models import ContinuityLine, ContinuityTest, PinEntry, Port, PortRetired
from server.cryostats.port_rules import CARRIES, COAX, DC, LIDS, PIN_STATES, Lines, Pins, lines_of
from server.cryostats.rules import OPEN, REWIRE
from server.people.models import Person

EXAMPLE = "port, pin, line, resistance [Ω], isolation [Ω], note"


@dataclass(frozen=True)
class PinLine:
    """One pin, with what is on it now; None when nobody wrote anything of it."""

    number: int
    entry: PinEntry | None

    @property
    def state(self) -> str:
        """What it is, `free` when nobody wrote anything."""
        return self.entry.state if self.entry else "free"


@dataclass(frozen=True)
class PortCard:
    """A port with its pins."""

    port: Port
    pins: tuple[PinLine, ...]

    def of(self, state: str) -> int:
        """How many of its pins are in this state."""
        return sum(pin.state == state for pin in self.pins)


@dataclass(frozen=True)
class Asked:
    """Lines of one sort of one configuration against the pins or connectors there are."""

    words: str
    carries: str
    lines: Lines
    pins: Pins

    @property
    def enough(self) -> bool:
        """True when what is known to be needed has its place."""
        return self.lines.needed <= self.pins.usable

    @property
    def sentence(self) -> str:
        """`30 dc lines needed, 48 of 50 pins usable (2 dead)`."""
        least = "at least " if self.lines.unknown else ""
        places = "connectors" if self.carries == COAX else "pins"
        return (
            f"{least}{self.lines.needed} {self.carries} lines needed, "
            f"{self.pins.usable} of {self.pins.there} {places} usable ({self.pins.dead} dead)"
        )


@dataclass(frozen=True)
class PortsView:
    """The page of the ports."""

    cryostat: Cryostat
    cards: tuple[PortCard, ...]
    asked: tuple[Asked, ...]
    retired: Sequence[tuple[Port, PortRetired]]
    tests: Sequence[tuple[ContinuityTest, str]]
    """Each test with the isolation of the mount to the shield."""
    may_rewire: bool
    may_open: bool
    elements: Sequence[tuple[str, str]]
    today: date
    faults: Mapping[str, str]
    typed: Mapping[str, str]
    states: Sequence[tuple[str, str]] = tuple(PIN_STATES.items())
    lids: Sequence[tuple[str, str]] = tuple(LIDS.items())
    sorts: Sequence[tuple[str, str]] = tuple(CARRIES.items())
    example: str = EXAMPLE


@dataclass(frozen=True)
class LineView:
    """A line with its resistance and isolation in words, and what became of it since the last test."""

    row: ContinuityLine
    through: str
    isolation: str
    moved: Moved | None


@dataclass(frozen=True)
class TestView:
    """One test of continuity and isolation, against the one before."""

    cryostat: Cryostat
    test: ContinuityTest
    rows: tuple[LineView, ...]
    mount_shield: str
    last: ContinuityTest | None
    left_out: tuple[ContinuityLine, ...]
    """Lines of the last test that were not measured this time."""
    mount_moved: Moved | None


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    today: date,
    faults: Mapping[str, str] | None = None,
    typed: Mapping[str, str] | None = None,
) -> PortsView:
    """The page; with `faults`, what was typed stays in its form."""
    grade = guards.grade_of(session, person, cryostat)
    present = contents.elements(session, cryostat, cryostat.revision)
    return PortsView(
        cryostat=cryostat,
        cards=_cards(session, cryostat),
        asked=_asked(session, cryostat),
        retired=ports.retired(session, cryostat),
        tests=[
            (row, ohm(row.mount_shield_ohm, more=row.mount_shield_more))
            for row in ports.measured(session, cryostat)
        ],
        may_rewire=grade >= REWIRE,
        may_open=grade >= OPEN,
        elements=[("", "none in particular"), *((put.key, put.title) for put in present.values())],
        today=today,
        faults=faults or {},
        typed=typed or {},
    )


def _cards(session: Session, cryostat: Cryostat) -> tuple[PortCard, ...]:
    entries = ports.pins(session, cryostat)
    return tuple(
        PortCard(
            port,
            tuple(
                PinLine(number, entries.get(port.id or 0, {}).get(number))
                for number in range(1, port.pins + 1)
            ),
        )
        for port in ports.of_cryostat(session, cryostat)
    )


def _asked(session: Session, cryostat: Cryostat) -> tuple[Asked, ...]:
    """What is inside now, and every draft that is still open, against the pins and connectors there are."""
    wanted = {"Inside now": list(contents.elements(session, cryostat, cryostat.revision).values())}
    for sheet in drafts.of_cryostat(session, cryostat):
        if not sheet.standing.over:
            puts = drafts.intended(session, cryostat, sheet.version).values()
            wanted[f"Draft “{sheet.draft.name}”"] = list(puts)
    counted = {carries: ports.counted(session, cryostat, carries) for carries in CARRIES}
    rows = [
        Asked(words, carries, lines_of(puts, carries), counted[carries])
        for words, puts in wanted.items()
        for carries in CARRIES
    ]
    return tuple(row for row in rows if row.carries == DC or row.lines.by_element or row.pins.there)


def test(session: Session, cryostat: Cryostat, number: int) -> TestView:
    """One test with its lines, each against the last test before."""
    found = ports.measurement(session, cryostat, number)
    last = ports.before(session, found)
    then = by_place(last[1] if last else ())
    now = ports.lines(session, found)
    rows = tuple(
        LineView(
            row,
            "open" if row.open else ohm(row.resistance_ohm),
            ohm(row.isolation_ohm, more=row.isolation_more),
            moved(row, then.get((row.port, row.pin))) if last else None,
        )
        for row in now
    )
    return TestView(
        cryostat,
        found,
        rows,
        ohm(found.mount_shield_ohm, more=found.mount_shield_more),
        last[0] if last else None,
        tuple(row for place, row in then.items() if place not in by_place(now)),
        _mount(found, last[0]) if last else None,
    )


def _mount(now: ContinuityTest, then: ContinuityTest) -> Moved | None:
    return isolation_moved(
        (now.mount_shield_ohm, now.mount_shield_more), (then.mount_shield_ohm, then.mount_shield_more)
    )
