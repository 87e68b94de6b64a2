"""The JSON face of the parts with identity."""

from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, ConfigDict

from server.cryostats import part_photographs, parts
from server.cryostats.api import REFUSALS
from server.cryostats.models import Cryostat
from server.cryostats.part_models import Part, PartEntry
from server.cryostats.part_rules import KINDS, SHELF, STATES, Described, Lent, Told, state_of
from server.cryostats.parts import LoanOut, Stay
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import ApiPerson
from server.web.moments import today

router = APIRouter(prefix="/parts", tags=["parts"])


class PartOut(BaseModel):
    """A part as it is now. `inside` is the address of the cryostat in which an element is this part."""

    tag: str
    kind: str
    name: str
    serial: str
    about: dict[str, str]
    state: str
    place: str
    inside: str | None


class PartsOut(BaseModel):
    """Parts, by kind and tag."""

    parts: list[PartOut]


class EntryOut(BaseModel):
    """One thing that happened to a part."""

    what: str
    on_day: date
    state: str
    place: str
    test: str
    result: str
    note: str
    at: datetime
    by: str


class StayOut(BaseModel):
    """A stretch of revisions in which an element was this part."""

    cryostat: str
    element: str
    from_revision: int
    from_time: datetime
    to_revision: int | None
    to_time: datetime | None


class LoanRow(BaseModel):
    """A loan; `back_on` is None while it is out."""

    to_whom: str
    to_cryostat: str | None
    lent_on: date
    due_on: date
    back_on: date | None
    note: str
    by: str


class PhotographOut(BaseModel):
    """A photograph or drawing; the file is at `/files/{digest}`."""

    id: int
    caption: str
    digest: str
    media_type: str
    withdrawn: str | None
    at: datetime
    by: str


class WholePartOut(PartOut):
    """A part with where it has been, what happened to it, to whom it was lent, and how it looks."""

    stays: list[StayOut]
    entries: list[EntryOut]
    loans: list[LoanRow]
    photographs: list[PhotographOut]


class DescriptionIn(BaseModel):
    """What a part is. `about` holds what its kind asks for, as texts."""

    model_config = ConfigDict(extra="forbid")

    name: str
    serial: str = ""
    about: dict[str, str] = {}
    note: str = ""


class PartIn(DescriptionIn):
    """A new part. Its tag is its name for ever."""

    tag: str
    kind: str
    state: str = SHELF
    place: str = ""


class EntryIn(BaseModel):
    """Where it is, its state, what a test gave. Left out, state and place stay, and it was today."""

    model_config = ConfigDict(extra="forbid")

    on_day: date | None = None
    state: str | None = None
    place: str | None = None
    test: str = ""
    result: str = ""
    note: str = ""


class LoanIn(BaseModel):
    """A loan, to a cryostat here by its address or to another laboratory."""

    model_config = ConfigDict(extra="forbid")

    to_whom: str
    due_on: date
    lent_on: date | None = None
    to_cryostat: str = ""
    note: str = ""


class ReturnIn(BaseModel):
    """A loan that came back."""

    model_config = ConfigDict(extra="forbid")

    place: str = ""
    on_day: date | None = None
    note: str = ""


@router.get("", responses=REFUSALS)
def index(
    _person: ApiPerson,
    session: ReadSession,
    kind: Annotated[str, Query(description="Of one kind")] = "",
    state: Annotated[str, Query(description="In one state")] = "",
) -> PartsOut:
    """Every part, of one kind or in one state when these are given."""
    for name, value, known in (("kind", kind, KINDS), ("state", state, STATES)):
        if value and value not in known:
            raise Refused("The list cannot be made.", {name: f"One of {', '.join(known)}"})
    inside = parts.inside(session)
    rows = [_part(row, inside) for row in parts.listed(session, kind)]
    return PartsOut(parts=[row for row in rows if state in ("", row.state)])


@router.post("", status_code=201, responses=REFUSALS)
def enter(request: Request, sent: PartIn, person: ApiPerson, session: WriteSession) -> PartOut:
    """A new part."""
    at = now()
    row = parts.enter(session, person, Described(**sent.model_dump()), at, today(request, at))
    return _part(row, parts.inside(session))


@router.get("/{tag}", responses=REFUSALS)
def show(tag: str, _person: ApiPerson, session: ReadSession) -> WholePartOut:
    """One part, and all that is known of it."""
    return _whole(session, parts.find(session, tag))


@router.put("/{tag}", responses=REFUSALS)
def describe(
    request: Request, tag: str, sent: DescriptionIn, person: ApiPerson, session: WriteSession
) -> PartOut:
    """Another description; what stood before stays in its history."""
    at = now()
    said = Described(tag=tag, kind=parts.find(session, tag).kind, **sent.model_dump())
    return _part(parts.describe(session, person, said, at, today(request, at)), parts.inside(session))


@router.post("/{tag}/entries", status_code=201, responses=REFUSALS)
def tell(request: Request, tag: str, sent: EntryIn, person: ApiPerson, session: WriteSession) -> EntryOut:
    """Something happened to it."""
    at = now()
    part, day = parts.find(session, tag), today(request, at)
    given = sent.model_dump(exclude={"on_day", "state", "place"})
    state = part.state if sent.state is None else sent.state
    place = part.place if sent.place is None else sent.place
    said = Told(on_day=sent.on_day or day, state=state, place=place, **given)
    return _entry(parts.tell(session, person, tag, said, at, day))


@router.post("/{tag}/loans", status_code=201, responses=REFUSALS)
def lend(request: Request, tag: str, sent: LoanIn, person: ApiPerson, session: WriteSession) -> LoanRow:
    """To another cryostat or another laboratory."""
    at = now()
    day = today(request, at)
    said = Lent(sent.to_whom, sent.lent_on or day, sent.due_on, sent.to_cryostat, sent.note)
    loan = parts.lend(session, person, tag, said, at, day)
    return _loan(session, LoanOut(loan, None))


@router.post("/{tag}/return", responses=REFUSALS)
def bring_back(
    request: Request, tag: str, sent: ReturnIn, person: ApiPerson, session: WriteSession
) -> PartOut:
    """It came back."""
    at = now()
    day = today(request, at)
    parts.bring_back(session, person, tag, sent.on_day or day, sent.place, sent.note, at, day)
    return _part(parts.find(session, tag), parts.inside(session))


def _part(row: Part, inside: dict[str, Cryostat]) -> PartOut:
    there = inside.get(row.tag)
    kept = row.model_dump(include={"tag", "kind", "name", "serial", "about", "place"})
    state = state_of(row.state, there is not None)
    return PartOut(state=state, inside=there.slug if there else None, **kept)


def _whole(session: ReadSession, part: Part) -> WholePartOut:
    return WholePartOut(
        **_part(part, parts.inside(session)).model_dump(),
        stays=[_stay(row) for row in parts.stays(session, part.tag)],
        entries=[_entry(row) for row in parts.entries(session, part)],
        loans=[_loan(session, row) for row in parts.loans(session, part)],
        photographs=[_photograph(row) for row in part_photographs.of_part(session, part)],
    )


def _entry(row: PartEntry) -> EntryOut:
    return EntryOut(by=row.by_name, **row.model_dump(include=set(EntryOut.model_fields) - {"by"}))


def _stay(row: Stay) -> StayOut:
    return StayOut(
        cryostat=row.cryostat.slug,
        element=row.element.key,
        from_revision=row.since.number,
        from_time=row.since.done_at,
        to_revision=row.until.number if row.until else None,
        to_time=row.until.done_at if row.until else None,
    )


def _loan(session: ReadSession, row: LoanOut) -> LoanRow:
    loan = row.loan
    to = session.get(Cryostat, loan.to_cryostat_id) if loan.to_cryostat_id else None
    return LoanRow(
        to_cryostat=to.slug if to else None,
        back_on=row.back.on_day if row.back else None,
        by=loan.by_name,
        **loan.model_dump(include={"to_whom", "lent_on", "due_on", "note"}),
    )


def _photograph(row: part_photographs.Shown) -> PhotographOut:
    it = row.photograph
    assert it.id is not None
    return PhotographOut(
        id=it.id,
        caption=it.caption,
        digest=row.file.digest,
        media_type=row.file.media_type,
        withdrawn=row.withdrawal.reason if row.withdrawal else None,
        at=it.at,
        by=it.by_name,
    )
