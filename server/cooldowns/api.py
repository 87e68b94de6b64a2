"""The JSON face of cooldowns. SI throughout; every write goes the way the page goes."""

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict

from server.cooldowns import residual, rules, service, trends
from server.cooldowns.entry_kinds import WARMING
from server.cooldowns.finding import Sheet, sheets
from server.cooldowns.residual_rules import Residual
from server.cooldowns.service import Beginning, Written
from server.cryostats import guards
from server.cryostats.api import REFUSALS
from server.db import ReadSession, WriteSession, now
from server.people.guards import ApiPerson
from server.physics.statistics import Band

router = APIRouter(prefix="/cryostats/{slug}/cooldowns", tags=["cooldowns"])
Ends = list[float | None]
PAGE = 100


class EntryOut(BaseModel):
    """One thing written down. `counts` is false when it was taken back."""

    id: int
    kind: str
    at: datetime
    data: dict[str, Any]
    note: str
    counts: bool
    takes_back: int | None
    by: str
    recorded_at: datetime


class ResidualOut(BaseModel):
    """One stage: bands are low, best, high of the central 95 %, in kelvin."""

    stage: str
    measured_K: float | None
    predicted_K: Ends | None
    difference_K: Ends | None
    verdict: str
    reason: str


class ExpectedOut(BaseModel):
    """What was expected, as it was written down."""

    revision: int
    budget: int
    written_at: datetime
    temperatures_K: dict[str, Ends]
    times: dict[str, Any]


class CooldownOut(BaseModel):
    """A cooldown as it stands."""

    number: int
    purpose: str
    phase: str
    begun_at: datetime
    started_at: datetime | None
    warming_at: datetime | None
    ended_at: datetime | None
    expected: ExpectedOut
    residuals: list[ResidualOut]


class LoadOut(BaseModel):
    """Extra load that would explain a stage, as a first answer."""

    stage: str
    heat_W: Ends
    beyond_what_was_measured: bool


class WholeCooldownOut(CooldownOut):
    """A cooldown with all that was written in it."""

    entries: list[EntryOut]
    implied_loads: list[LoadOut]
    doubts: list[str]


class UsualOut(BaseModel):
    """How long a phase usually takes, in seconds: median and the band of the middle 80 in 100."""

    median_s: float
    low_s: float | None
    high_s: float | None
    count: int


class CooldownsOut(BaseModel):
    """The cooldowns of a cryostat, newest first; `before` asks for those with smaller numbers."""

    cooldowns: list[CooldownOut]
    usual: dict[str, UsualOut]


class Sent(BaseModel):
    """A body in which nothing unknown may stand."""

    model_config = ConfigDict(extra="forbid")


class CooldownIn(Sent):
    """A cooldown that is being pumped for since `begun_at`; absent: now."""

    purpose: str = ""
    begun_at: AwareDatetime | None = None


class StartIn(Sent):
    """Cooling began at `at`; above this cryostat's number it needs `despite`."""

    pressure_Pa: float | None = None
    at: AwareDatetime | None = None
    despite: str = ""
    note: str = ""


class EntryIn(Sent):
    """Something to write down; which fields a kind has, its form shows."""

    kind: str
    data: dict[str, Any] = {}
    at: AwareDatetime | None = None
    note: str = ""


class TakeBackIn(Sent):
    """Why an entry does not count."""

    reason: str


class WarmingIn(Sent):
    """How warming began."""

    data: dict[str, Any]
    at: AwareDatetime | None = None
    note: str = ""


class EndIn(Sent):
    """It is over; `state` is that of the cryostat afterwards."""

    state: str
    at: AwareDatetime | None = None
    note: str = ""


@router.get("", responses=REFUSALS)
def index(
    slug: str,
    _person: ApiPerson,
    session: ReadSession,
    before: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
) -> CooldownsOut:
    """Its cooldowns, newest first, a hundred at once, and how long each phase usually takes."""
    cryostat = guards.find(session, slug)
    assert cryostat.id is not None
    rows = [
        row for row in service.cooldowns_of(session, cryostat.id) if before is None or row.number < before
    ]
    found = sheets(session, cryostat, rows[:PAGE])
    usual = {
        name: UsualOut(median_s=band.median, low_s=band.low, high_s=band.high, count=band.count)
        for name, band in trends.durations(session, cryostat.id).items()
    }
    return CooldownsOut(
        cooldowns=[CooldownOut(**_about(sheet, residual.of(session, sheet))) for sheet in found],
        usual=usual,
    )


@router.post("", status_code=201, responses=REFUSALS)
def prepare(slug: str, sent: CooldownIn, person: ApiPerson, session: WriteSession) -> WholeCooldownOut:
    """Begin a cooldown: pumping for it. What is expected of it is written down."""
    return _whole(session, service.prepare(session, person, slug, sent.purpose, sent.begun_at, now()))


@router.get("/{number}", responses=REFUSALS)
def show(slug: str, number: int, _person: ApiPerson, session: ReadSession) -> WholeCooldownOut:
    """One cooldown, with all that was written in it."""
    return _whole(session, service.find(session, guards.find(session, slug), number))


@router.put("/{number}/start", responses=REFUSALS)
def start(
    slug: str, number: int, sent: StartIn, person: ApiPerson, session: WriteSession
) -> WholeCooldownOut:
    """Cooling began."""
    wish = Beginning(sent.pressure_Pa, sent.at, sent.despite, sent.note)
    return _whole(session, service.start_of(session, person, slug, number, wish, now()))


@router.post("/{number}/entries", status_code=201, responses=REFUSALS)
def enter(
    slug: str, number: int, sent: EntryIn, person: ApiPerson, session: WriteSession
) -> WholeCooldownOut:
    """Write something down."""
    service.enter(session, person, slug, number, Written(sent.kind, sent.data, sent.at, sent.note), now())
    return show(slug, number, person, session)


@router.post("/{number}/entries/{entry}/take-back", status_code=201, responses=REFUSALS)
def take_back(
    slug: str, number: int, entry: int, sent: TakeBackIn, person: ApiPerson, session: WriteSession
) -> WholeCooldownOut:
    """An entry no longer counts; it stays."""
    service.take_back(session, person, slug, number, entry, sent.reason, now())
    return show(slug, number, person, session)


@router.put("/{number}/warming", responses=REFUSALS)
def warm(
    slug: str, number: int, sent: WarmingIn, person: ApiPerson, session: WriteSession
) -> WholeCooldownOut:
    """Warming began."""
    service.warm(session, person, slug, number, Written(WARMING, sent.data, sent.at, sent.note), now())
    return show(slug, number, person, session)


@router.put("/{number}/end", responses=REFUSALS)
def end(slug: str, number: int, sent: EndIn, person: ApiPerson, session: WriteSession) -> WholeCooldownOut:
    """It is over."""
    service.end(session, person, slug, number, sent.state, sent.at, sent.note, now())
    return show(slug, number, person, session)


def _ends(band: Band | None) -> Ends | None:
    return None if band is None else [band.low, band.best, band.high]


def _about(sheet: Sheet, residuals: tuple[Residual, ...]) -> dict[str, Any]:
    cooldown, expected = sheet.cooldown, sheet.expectation
    return {
        **cooldown.model_dump(
            include={"number", "purpose", "begun_at", "started_at", "warming_at", "ended_at"}
        ),
        "phase": sheet.phase,
        "expected": ExpectedOut(
            revision=expected.revision,
            budget=expected.budget_id,
            written_at=expected.at,
            temperatures_K=expected.temperatures_K,
            times=expected.times,
        ),
        "residuals": [
            ResidualOut(
                stage=row.stage,
                measured_K=row.measured_K,
                predicted_K=_ends(row.predicted_K),
                difference_K=_ends(row.difference_K),
                verdict=row.verdict,
                reason=row.reason,
            )
            for row in residuals
        ],
    }


def _whole(session: ReadSession, sheet: Sheet) -> WholeCooldownOut:
    residuals = residual.of(session, sheet, now())
    counting = rules.counting(sheet.entries)
    entries = [
        EntryOut(
            **row.model_dump(include={"id", "kind", "at", "data", "note", "takes_back", "recorded_at"}),
            by=row.by_name,
            counts=row in counting,
        )
        for row in sheet.entries
    ]
    loads = [
        LoadOut(stage=row.stage, heat_W=_ends(row.heat_W) or [], beyond_what_was_measured=row.beyond)
        for row in residual.loads(session, sheet, residuals)
    ]
    return WholeCooldownOut(
        **_about(sheet, residuals),
        entries=entries,
        implied_loads=loads,
        doubts=list(rules.doubts(sheet.entries)),
    )
