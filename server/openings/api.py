"""The JSON face of openings. SI throughout; every write goes the way the page goes."""

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict

from server.cryostats import guards
from server.cryostats.api import REFUSALS
from server.db import ReadSession, WriteSession, now
from server.openings import rules, service
from server.openings.finding import Sheet
from server.openings.models import Opening, OpeningEntry
from server.openings.service import Written
from server.people.guards import ApiPerson

router = APIRouter(prefix="/cryostats/{slug}/openings", tags=["openings"])
Before = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


class OpeningOut(BaseModel):
    """An opening as it stands; moments that have not come are null, `open_s` until it is closed."""

    number: int
    why: str
    phase: str
    draft_id: int | None
    draft_version: int | None
    base_revision: int
    begun_at: datetime
    vented_at: datetime | None
    opened_at: datetime | None
    parked_at: datetime | None
    built_at: datetime | None
    closed_at: datetime | None
    pumped_at: datetime | None
    ended_at: datetime | None
    open_s: float | None
    by: str


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


class SlipOut(OpeningOut):
    """An opening with all that was written, the oldest first."""

    entries: list[EntryOut]


class UsualOut(BaseModel):
    """How long a phase usually takes, in seconds: median and the band of the middle 80 in 100."""

    median_s: float
    low_s: float | None
    high_s: float | None
    count: int


class OpeningsOut(BaseModel):
    """The openings of a cryostat, newest first; `before` asks for those with smaller numbers."""

    openings: list[OpeningOut]
    usual: dict[str, UsualOut]


class FactOut(BaseModel):
    """What an opening did; `subject` is the tag of a part, or words."""

    kind: str
    subject: str
    at: datetime


class OpeningIn(BaseModel):
    """Why it is opened; a draft that may go in, or none; promises of the stock room to take from first."""

    model_config = ConfigDict(extra="forbid")

    why: str
    draft_id: int | None = None
    reservations: list[int] = []


class StepIn(BaseModel):
    """A step or an entry. `data` has the kind's own fields in SI; no `at` means now."""

    model_config = ConfigDict(extra="forbid")

    kind: str
    data: dict[str, Any] = {}
    at: AwareDatetime | None = None
    note: str = ""


class BackIn(BaseModel):
    """Why an entry does not count."""

    model_config = ConfigDict(extra="forbid")

    reason: str


@router.get("", responses=REFUSALS)
def index(
    slug: str,
    _person: ApiPerson,
    session: ReadSession,
    before: Before = None,
    most: Annotated[int, Query(ge=1, le=500)] = 100,
) -> OpeningsOut:
    """The openings of a cryostat, and how long their phases usually take."""
    cryostat = guards.find(session, slug)
    rows = service.openings_of(session, cryostat, most, before)
    usual = {
        name: UsualOut(median_s=band.median, low_s=band.low, high_s=band.high, count=band.count)
        for name, band in service.durations(session, cryostat.id or 0).items()
    }
    return OpeningsOut(openings=[_opening(row) for row in rows], usual=usual)


@router.post("", status_code=201, responses=REFUSALS)
def start(slug: str, sent: OpeningIn, person: ApiPerson, session: WriteSession) -> SlipOut:
    """Begin a slip."""
    cryostat = guards.find(session, slug)
    return _slip(service.start(session, person, cryostat, sent.why, now(), sent.draft_id, sent.reservations))


@router.get("/facts", responses=REFUSALS)
def facts(slug: str, since: AwareDatetime, _person: ApiPerson, session: ReadSession) -> list[FactOut]:
    """What openings did here after `since`, the oldest first."""
    rows = service.facts_since(session, guards.find(session, slug).id or 0, since)
    return [FactOut(kind=row.kind, subject=row.subject, at=row.at) for row in rows]


@router.get("/{number}", responses=REFUSALS)
def show(slug: str, number: int, _person: ApiPerson, session: ReadSession) -> SlipOut:
    """One opening with its entries."""
    return _slip(service.find(session, guards.find(session, slug), number))


@router.post("/{number}/steps", status_code=201, responses=REFUSALS)
def step(slug: str, number: int, sent: StepIn, person: ApiPerson, session: WriteSession) -> EntryOut:
    """Write a step or an entry."""
    wish = Written(sent.kind, sent.data, sent.at, sent.note)
    return _entry(service.enter(session, person, slug, number, wish, now()), counts=True)


@router.post("/{number}/steps/{entry}/taken-back", status_code=201, responses=REFUSALS)
def take_back(
    slug: str, number: int, entry: int, sent: BackIn, person: ApiPerson, session: WriteSession
) -> EntryOut:
    """An entry no longer counts, and stays."""
    row = service.take_back(session, person, slug, number, entry, sent.reason, now())
    return _entry(row, counts=True)


def _slip(sheet: Sheet) -> SlipOut:
    counting = {row.id for row in sheet.counting}
    rows = [_entry(row, counts=row.id in counting or row.takes_back is not None) for row in sheet.entries]
    return SlipOut(**_opening(sheet.opening).model_dump(), entries=rows)


def _opening(row: Opening) -> OpeningOut:
    kept = row.model_dump(exclude={"id", "cryostat_id", "reservations", "recorded_at", "by_name", "by_id"})
    return OpeningOut(phase=rules.phase(row), by=row.by_name, **kept)


def _entry(row: OpeningEntry, *, counts: bool) -> EntryOut:
    kept = row.model_dump(exclude={"opening_id", "by_name", "by_id"})
    return EntryOut(counts=counts, by=row.by_name, **kept)
