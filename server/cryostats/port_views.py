"""What the pages of ports, pins and continuity show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from server.cryostats import contents, drafts, guards, ports
from server.cryostats.models import Cryostat
from server.cryostats.port_models import ContinuityLine, ContinuityTest, PinEntry, Port
from server.cryostats.port_rules import LIDS, PIN_STATES, Lines, Pins, lines_of
from server.cryostats.rules import OPEN, REWIRE
from server.people.models import Person
from server.units import in_unit

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
    """Lines of one configuration against the pins there are."""

    words: str
    lines: Lines
    pins: Pins

    @property
    def enough(self) -> bool:
        """True when what is known to be needed has its pins."""
        return self.lines.needed <= self.pins.usable

    @property
    def sentence(self) -> str:
        """`30 lines needed, 48 of 50 pins usable`."""
        least = "at least " if self.lines.unknown else ""
        return (
            f"{least}{self.lines.needed} lines needed, {self.pins.usable} of {self.pins.there} pins usable "
            f"({self.pins.dead} dead)"
        )


@dataclass(frozen=True)
class PortsView:
    """The page of the ports."""

    cryostat: Cryostat
    cards: tuple[PortCard, ...]
    asked: tuple[Asked, ...]
    tests: Sequence[ContinuityTest]
    may_rewire: bool
    may_open: bool
    elements: Sequence[tuple[str, str]]
    today: date
    faults: Mapping[str, str]
    typed: Mapping[str, str]
    states: Sequence[tuple[str, str]] = tuple(PIN_STATES.items())
    lids: Sequence[tuple[str, str]] = tuple(LIDS.items())
    example: str = EXAMPLE


@dataclass(frozen=True)
class TestView:
    """One test of continuity and isolation."""

    cryostat: Cryostat
    test: ContinuityTest
    rows: tuple[tuple[ContinuityLine, str, str], ...]
    """Each line with its resistance and its isolation in words."""
    mount_shield: str


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
        tests=ports.measured(session, cryostat),
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
    """What is inside now, and every draft that is still open, against the pins there are."""
    counted = ports.counted(session, cryostat)
    now = Asked("Inside now", ports.needed(session, cryostat, cryostat.revision), counted)
    open_drafts = [sheet for sheet in drafts.of_cryostat(session, cryostat) if not sheet.standing.over]
    wanted = ((sheet, drafts.intended(session, cryostat, sheet.version).values()) for sheet in open_drafts)
    return (now, *(Asked(f"Draft “{sheet.draft.name}”", lines_of(puts), counted) for sheet, puts in wanted))


def test(session: Session, cryostat: Cryostat, number: int) -> TestView:
    """One test with its lines."""
    found = ports.measurement(session, cryostat, number)
    rows = tuple(
        (
            row,
            "open" if row.open else _ohm(row.resistance_ohm, more=False),
            _ohm(row.isolation_ohm, more=row.isolation_more),
        )
        for row in ports.lines(session, found)
    )
    return TestView(cryostat, found, rows, _ohm(found.mount_shield_ohm, more=found.mount_shield_more))


def _ohm(value_ohm: float | None, *, more: bool) -> str:
    if value_ohm is None:
        return "not measured"
    unit = "Mohm" if value_ohm >= 1e6 else "kohm" if value_ohm >= 1e3 else "ohm"
    shown = in_unit(value_ohm, unit)
    return f"> {shown}" if more else shown
