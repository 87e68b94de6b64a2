"""The JSON face of samples: inside a cryostat, and planned on a draft."""

from datetime import date, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from server.cryostats import drafts, guards, samples, samples_planned
from server.cryostats.api import REFUSALS
from server.cryostats.samples import Described, Inside
from server.cryostats.samples_models import PlannedSample, Sample, SampleStep
from server.cryostats.samples_planned import Planned
from server.db import ReadSession, WriteSession, now
from server.people.guards import ApiPerson
from server.people.models import Person
from server.web.moments import today

router = APIRouter(tags=["samples"])
Whole = Annotated[int, Field(ge=0, le=2**31 - 1)]


class Carried(BaseModel):
    """What a sample is, and what carries it. `mount` is the key of a joint that is configured."""

    model_config = ConfigDict(extra="forbid")

    what: str
    hazard: str
    attach: str = "unknown"
    if_breaks: str = ""
    carrier: str = ""
    attached_on: date | None = None
    mount: str = ""
    note: str = ""


class PlannedIn(Carried):
    """A sample that shall come in with a draft. Left out, `owner_id` is whoever sends it."""

    owner_id: Whole | None = None


class SampleIn(PlannedIn):
    """A sample that is inside since `revision`; left out, since the newest."""

    revision: Whole | None = None


class NoteIn(BaseModel):
    """A word with a step."""

    model_config = ConfigDict(extra="forbid")

    note: str = ""


class StepOut(BaseModel):
    """A step of a sample."""

    what: str
    revision: int
    note: str
    at: datetime
    by: str


class SampleOut(Carried):
    """A sample inside a cryostat."""

    id: int
    owner_id: int
    owner: str
    owner_has_account: bool
    revision: int
    approval: StepOut | None
    taken_out: StepOut | None
    at: datetime
    by: str


class SamplesOut(BaseModel):
    """The samples of a cryostat: inside, and taken out with the newest first."""

    cryostat: str
    inside: list[SampleOut]
    taken_out: list[SampleOut]


class PlannedOut(Carried):
    """A sample planned on a draft; `became` is the number of the sample it came in as."""

    id: int
    owner_id: int
    owner: str
    became: int | None


class PlannedsOut(BaseModel):
    """What shall come in with a draft."""

    draft: int
    samples: list[PlannedOut]


@router.get("/cryostats/{slug}/samples", responses=REFUSALS)
def index(slug: str, _person: ApiPerson, session: ReadSession) -> SamplesOut:
    """What is inside, and what was."""
    cryostat = guards.find(session, slug)
    here = samples.inside(session, [cryostat]).get(cryostat.id or 0, ())
    gone = [_gone(session, row, step) for row, step in samples.gone(session, cryostat)]
    return SamplesOut(cryostat=slug, inside=[_inside(row) for row in here], taken_out=gone)


@router.post("/cryostats/{slug}/samples", status_code=201, responses=REFUSALS)
def put_in(
    request: Request, slug: str, sent: SampleIn, person: ApiPerson, session: WriteSession
) -> SampleOut:
    """Write down a sample that is inside."""
    at = now()
    revision = guards.find(session, slug).revision if sent.revision is None else sent.revision
    row = samples.put_in(session, person, slug, _said(sent, person, revision), at, today(request, at))
    return _sample(row, True, None, None)


@router.post("/cryostats/{slug}/samples/{number}/take-out", responses=REFUSALS)
def take_out(slug: str, number: int, sent: NoteIn, person: ApiPerson, session: WriteSession) -> StepOut:
    """It is not inside any more."""
    samples.need_in(session, guards.find(session, slug), number)
    return _step(samples.take_out(session, person, number, sent.note, now()))


@router.post("/cryostats/{slug}/samples/{number}/approve", responses=REFUSALS)
def approve(slug: str, number: int, sent: NoteIn, person: ApiPerson, session: WriteSession) -> StepOut:
    """The steward says yes to its hazard."""
    samples.need_in(session, guards.find(session, slug), number)
    return _step(samples.approve(session, person, number, sent.note, now()))


@router.get("/drafts/{number}/samples", responses=REFUSALS)
def planned(number: int, _person: ApiPerson, session: ReadSession) -> PlannedsOut:
    """What shall come in with a draft."""
    rows = samples_planned.of_draft(session, drafts.find(session, number).draft)
    return PlannedsOut(draft=number, samples=[_planned(row) for row in rows])


@router.post("/drafts/{number}/samples", status_code=201, responses=REFUSALS)
def plan(number: int, sent: PlannedIn, person: ApiPerson, session: WriteSession) -> PlannedOut:
    """One more sample that shall come in."""
    row = samples_planned.plan(session, person, number, _said(sent, person, 0), now())
    return _planned(Planned(row, True, None))


@router.post("/drafts/{number}/samples/{planned_id}/leave-out", status_code=204, responses=REFUSALS)
def leave_out(number: int, planned_id: int, person: ApiPerson, session: WriteSession) -> None:
    """It shall not come in after all."""
    samples_planned.leave_out(session, person, number, planned_id, now())


def _said(sent: PlannedIn, person: Person, revision: int) -> Described:
    about = sent.model_dump(exclude={"owner_id", "revision"})
    owner = person.id if sent.owner_id is None else sent.owner_id
    return Described(owner_id=owner or 0, revision=revision, **about)


def _inside(row: Inside) -> SampleOut:
    return _sample(row.sample, row.owner_active, row.approval, None)


def _gone(session: ReadSession, row: Sample, step: SampleStep) -> SampleOut:
    owner = session.get(Person, row.owner_id)
    return _sample(row, owner is not None and owner.active, None, step)


def _sample(row: Sample, active: bool, approval: SampleStep | None, out: SampleStep | None) -> SampleOut:
    return SampleOut(
        **_carried(row),
        owner=row.owner_name,
        owner_has_account=active,
        revision=row.revision,
        approval=_step(approval) if approval else None,
        taken_out=_step(out) if out else None,
        at=row.at,
        by=row.by_name,
    )


def _planned(row: Planned) -> PlannedOut:
    return PlannedOut(**_carried(row.sample), owner=row.sample.owner_name, became=row.became)


def _carried(row: Sample | PlannedSample) -> dict[str, Any]:
    return row.model_dump(include={"id", "owner_id", *Carried.model_fields})


def _step(row: SampleStep) -> StepOut:
    return StepOut(by=row.by_name, **row.model_dump(include={"what", "revision", "note", "at"}))
