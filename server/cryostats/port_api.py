"""The JSON face of ports, pins, and continuity with isolation. Resistances in ohms."""

from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from server.cryostats import guards, port_views, ports
from server.cryostats.api import REFUSALS
from server.cryostats.port_rules import DC, Entered, Measured, Readings
from server.cryostats.port_views import Asked, LineView, PortCard
from server.cryostats.ports import Said
from server.db import ReadSession, WriteSession, now
from server.people.guards import ApiPerson
from server.web.moments import today

router = APIRouter(prefix="/cryostats/{slug}/ports", tags=["ports"])
Ohm = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Whole = Annotated[int, Field(ge=0, le=2**31 - 1)]


class PinOut(BaseModel):
    """One pin somebody wrote something of."""

    pin: int
    state: str
    line: str
    element: str
    note: str
    at: datetime
    by: str


class PortOut(BaseModel):
    """A port; pins that are not named are free."""

    id: int
    name: str
    kind: str
    carries: str
    count: int
    note: str
    pins: list[PinOut]


class CountOut(BaseModel):
    """Lines of one sort of one configuration against the pins or connectors there are."""

    configuration: str
    carries: str
    needed: int
    count_unknown: list[str]
    usable: int
    dead: int
    enough: bool


class TestRow(BaseModel):
    """One test of continuity and isolation."""

    id: int
    on_day: date
    lid: str
    revision: int
    mount_shield_ohm: float | None
    mount_shield_more: bool
    note: str
    by: str


class PortsOut(BaseModel):
    """The ports of a cryostat, what is needed of them, and the tests, the newest first."""

    cryostat: str
    ports: list[PortOut]
    counts: list[CountOut]
    tests: list[TestRow]


class LineIn(BaseModel):
    """One line as it was measured; a resistance of null was not measured."""

    model_config = ConfigDict(extra="forbid")

    port: str
    pin: int
    line: str = ""
    open: bool = False
    resistance_ohm: Ohm | None = None
    isolation_ohm: Ohm | None = None
    isolation_more: bool = False
    note: str = ""


class LineOut(LineIn):
    """One line, and what became of it since the last test."""

    since: str | None


class TestOut(TestRow):
    """A test with its lines, against the last one before."""

    last: int | None
    lines: list[LineOut]


class PortIn(BaseModel):
    """A new port."""

    model_config = ConfigDict(extra="forbid")

    name: str
    kind: str = ""
    count: int
    carries: str = DC
    note: str = ""


class PinsIn(BaseModel):
    """What is on some pins from now on."""

    model_config = ConfigDict(extra="forbid")

    pins: Annotated[list[int], Field(min_length=1, max_length=500)]
    state: str
    line: str = ""
    element: str = ""
    note: str = ""


class RetireIn(BaseModel):
    """Why a port is no longer there."""

    model_config = ConfigDict(extra="forbid")

    reason: str


class TestIn(BaseModel):
    """A test. Left out, it was today."""

    model_config = ConfigDict(extra="forbid")

    lid: str
    on_day: date | None = None
    mount_shield_ohm: Ohm | None = None
    mount_shield_more: bool = False
    note: str = ""
    lines: Annotated[list[LineIn], Field(max_length=2000)] = []


@router.get("", responses=REFUSALS)
def index(request: Request, slug: str, person: ApiPerson, session: ReadSession) -> PortsOut:
    """Ports with their pins, the count against what is inside and every draft, and the tests."""
    view = port_views.page(session, person, guards.find(session, slug), today(request, now()))
    tests = [TestRow(by=row.by_name, **row.model_dump()) for row, _ in view.tests]
    return PortsOut(
        cryostat=slug,
        ports=[_port(card) for card in view.cards],
        counts=[_count(row) for row in view.asked],
        tests=tests,
    )


@router.post("", status_code=201, responses=REFUSALS)
def add(slug: str, sent: PortIn, person: ApiPerson, session: WriteSession) -> PortOut:
    """A port."""
    said = Entered(sent.name, sent.kind, sent.count, sent.note, sent.carries)
    return _port(PortCard(ports.add(session, person, slug, said, now()), ()))


@router.post("/tests", status_code=201, responses=REFUSALS)
def measure(request: Request, slug: str, sent: TestIn, person: ApiPerson, session: WriteSession) -> TestOut:
    """A test of continuity and isolation: all its lines, or nothing."""
    at = now()
    day = today(request, at)
    about = sent.model_dump(exclude={"lines", "on_day"})
    lines = tuple(Measured(**row.model_dump()) for row in sent.lines)
    said = Readings(on_day=sent.on_day or day, lines=lines, **about)
    test = ports.measure(session, person, slug, said, at, day, {})
    return _test(session, slug, test.id or 0)


@router.get("/tests/{number}", responses=REFUSALS)
def test(slug: str, number: int, _person: ApiPerson, session: ReadSession) -> TestOut:
    """One test with its lines."""
    return _test(session, slug, number)


@router.post("/{number}/pins", status_code=201, responses=REFUSALS)
def connect(slug: str, number: int, sent: PinsIn, person: ApiPerson, session: WriteSession) -> list[PinOut]:
    """What is on some pins from now on."""
    said = Said(tuple(dict.fromkeys(sent.pins)), sent.state, sent.line, sent.element, sent.note)
    rows = ports.connect(session, person, slug, number, said, now())
    return [PinOut(element=row.element_key, by=row.by_name, **row.model_dump()) for row in rows]


@router.post("/{number}/retire", status_code=204, responses=REFUSALS)
def retire(slug: str, number: int, sent: RetireIn, person: ApiPerson, session: WriteSession) -> None:
    """A port is no longer there."""
    ports.retire(session, person, slug, number, sent.reason, now())


def _port(card: PortCard) -> PortOut:
    kept = card.port.model_dump(include={"id", "name", "kind", "carries", "note"})
    rows = [pin.entry for pin in card.pins if pin.entry is not None]
    pins = [PinOut(element=row.element_key, by=row.by_name, **row.model_dump()) for row in rows]
    return PortOut(count=card.port.pins, pins=pins, **kept)


def _count(row: Asked) -> CountOut:
    return CountOut(
        configuration=row.words,
        carries=row.carries,
        needed=row.lines.needed,
        count_unknown=list(row.lines.unknown),
        usable=row.pins.usable,
        dead=row.pins.dead,
        enough=row.enough,
    )


def _test(session: ReadSession, slug: str, number: int) -> TestOut:
    view = port_views.test(session, guards.find(session, slug), number)
    return TestOut(
        by=view.test.by_name,
        last=view.last.id if view.last else None,
        lines=[_line(row) for row in view.rows],
        **view.test.model_dump(),
    )


def _line(view: LineView) -> LineOut:
    since = view.moved.words if view.moved else None
    return LineOut(since=since, **view.row.model_dump(include=set(LineIn.model_fields)))
