"""The JSON face of faults."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict
from sqlmodel import Session

from server.cryostats import guards, instruments
from server.cryostats.api import REFUSALS
from server.db import ReadSession, WriteSession, now
from server.faults import service
from server.faults.causes import CAUSES
from server.faults.models import Fault, FaultEntry
from server.faults.rules import STILL_OPEN, Step, Where
from server.people.guards import ApiPerson

router = APIRouter(tags=["faults"], prefix="/faults")
Number = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


class FaultOut(BaseModel):
    """A fault as it stands. `cryostat` is an address, or null for one of the room."""

    id: int
    cryostat: str | None
    what_seen: str
    place: str
    part: str
    element_key: str
    severity: str
    seen_at: datetime
    reported_at: datetime
    reported_by: str
    state: str
    owner: str
    cause: str
    cause_words: str
    remedy: str


class EntryOut(BaseModel):
    """One step, and where it stood from then on."""

    id: int
    state: str
    owner: str
    cause: str
    text: str
    at: datetime
    by: str


class FaultWithEntries(FaultOut):
    """A fault with all that was done about it, the oldest first."""

    entries: list[EntryOut]


class FaultsOut(BaseModel):
    """Faults, the newest first; `more` says that older ones are left: ask again with `before`."""

    faults: list[FaultOut]
    more: bool


class FaultIn(BaseModel):
    """What was seen. `cryostat` is an address, or left out."""

    model_config = ConfigDict(extra="forbid")

    what_seen: str
    severity: str
    cryostat: str | None = None
    place: str = ""
    part: str = ""
    element_key: str = ""
    seen_at: AwareDatetime | None = None


class EntryIn(BaseModel):
    """A step: a text, a state, a cause by its key; `owner` is a login, an empty text for nobody."""

    model_config = ConfigDict(extra="forbid")

    text: str = ""
    state: str = ""
    cause: str = ""
    owner: str | None = None


@router.get("", responses=REFUSALS)
def index(
    _person: ApiPerson,
    session: ReadSession,
    cryostat: str | None = None,
    open: bool = False,  # noqa: A002 - the name people look for in an address
    before: Number = None,
    most: Annotated[int, Query(ge=1, le=500)] = 100,
) -> FaultsOut:
    """All faults, of one cryostat or of everything, open ones alone where that is asked for."""
    cryostat_id = guards.find(session, cryostat).id if cryostat is not None else None
    rows = service.listed(session, cryostat_id, STILL_OPEN if open else (), before, most + 1)
    slugs = _slugs(session)
    return FaultsOut(faults=[_fault(row, slugs) for row in rows[:most]], more=len(rows) > most)


@router.get("/causes", responses=REFUSALS)
def causes(_person: ApiPerson) -> dict[str, str]:
    """Key → words of every cause."""
    return CAUSES


@router.get("/{number}", responses=REFUSALS)
def show(number: int, _person: ApiPerson, session: ReadSession) -> FaultWithEntries:
    """One fault with its entries."""
    return _whole(session, service.find(session, number))


@router.post("", status_code=201, responses=REFUSALS)
def report(sent: FaultIn, person: ApiPerson, session: WriteSession) -> FaultWithEntries:
    """Report what was seen."""
    cryostat_id = guards.find(session, sent.cryostat).id if sent.cryostat is not None else None
    where = Where(sent.place, sent.part, sent.element_key, sent.seen_at)
    fault = service.report(session, person, cryostat_id, sent.what_seen, where, now(), sent.severity)
    return _whole(session, fault)


@router.post("/{number}/entries", status_code=201, responses=REFUSALS)
def add(number: int, sent: EntryIn, person: ApiPerson, session: WriteSession) -> EntryOut:
    """Add a step."""
    step = Step(sent.text, sent.state, sent.cause, sent.owner)
    return _entry(service.add(session, person, number, step, now()))


def _slugs(session: Session) -> dict[int, str]:
    return {row.id or 0: row.slug for row in instruments.all_of(session)}


def _whole(session: Session, fault: Fault) -> FaultWithEntries:
    rows = [_entry(row) for row in service.entries(session, fault)]
    return FaultWithEntries(**_fault(fault, _slugs(session)).model_dump(), entries=rows)


def _fault(row: Fault, slugs: dict[int, str]) -> FaultOut:
    kept = row.model_dump(exclude={"cryostat_id", "owner_name", "owner_id", "at", "by_name", "by_id"})
    return FaultOut(
        cryostat=slugs.get(row.cryostat_id or 0),
        owner=row.owner_name,
        reported_at=row.at,
        reported_by=row.by_name,
        **kept,
    )


def _entry(row: FaultEntry) -> EntryOut:
    kept = row.model_dump(exclude={"fault_id", "owner_name", "by_name", "by_id"})
    return EntryOut(owner=row.owner_name, by=row.by_name, **kept)
