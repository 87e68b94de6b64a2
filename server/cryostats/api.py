"""The JSON face of a cryostat's books, for programs with a bearer token. SI throughout."""

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query
from fastapi.responses import JSONResponse
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from server.cryostats import budget, contents, guards, instruments, rules, service
from server.cryostats.documents import put_of, written
from server.cryostats.models import Cryostat, Revision
from server.cryostats.rules import OPERATE, Change
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict
from server.people.guards import ApiPerson

router = APIRouter(tags=["cryostats"])


class Problem(BaseModel):
    """What a refusal says."""

    error: str
    fields: list[dict[str, str]] = []


class CryostatOut(BaseModel):
    """One instrument as it is now."""

    slug: str
    name: str
    place: str
    stages: list[str]
    limits_K: dict[str, float]
    revision: int
    state: str | None
    state_since: datetime | None


class CryostatsOut(BaseModel):
    """All instruments."""

    cryostats: list[CryostatOut]


class RevisionOut(BaseModel):
    """One step of the configuration."""

    number: int
    base: int
    reason: str
    restored: int | None
    done_at: datetime
    recorded_at: datetime
    by: str


class ConfigurationOut(BaseModel):
    """The elements of one revision; an absent field of an element is its default."""

    cryostat: str
    revision: int
    newest_revision: int
    elements: list[dict[str, Any]]


class ChangeIn(BaseModel):
    """A change: a key known to `put` alters, a new one adds; `remove` takes out."""

    model_config = ConfigDict(extra="forbid")

    reason: str
    base_revision: Annotated[int, Field(ge=0)]
    put: list[dict[str, Any]] = []
    remove: list[str] = []
    done_at: AwareDatetime | None = None


class StateIn(BaseModel):
    """A state as somebody saw it; without `since`, now."""

    model_config = ConfigDict(extra="forbid")

    state: str
    since: AwareDatetime | None = None
    note: str = ""


class HeatOut(BaseModel):
    """A heat budget, and what it was computed from."""

    cryostat: str
    revision: int
    cooler_version: int
    at: datetime | None
    budget: dict[str, Any]


class ChangeOut(BaseModel):
    """The revision a change became, with its budget."""

    revision: RevisionOut
    heat: HeatOut


REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"model": Problem} for status in (401, 403, 404, 409, 422)
}
At = Annotated[int | None, Query(ge=0, description="Revision; the newest when left out")]


@router.get("/cryostats", responses=REFUSALS)
def cryostats(_person: ApiPerson, session: ReadSession) -> CryostatsOut:
    """All cryostats, with the state people entered last."""
    states = instruments.states_now(session)
    rows = [_cryostat_out(row, states.get(row.id or 0)) for row in instruments.all_of(session)]
    return CryostatsOut(cryostats=rows)


@router.get("/cryostats/{slug}/configuration", responses=REFUSALS)
def configuration(
    slug: str, _person: ApiPerson, session: ReadSession, revision: At = None
) -> ConfigurationOut:
    """What is inside, or was at a revision."""
    cryostat = guards.find(session, slug)
    number = _number(session, cryostat, revision)
    rows = contents.elements(session, cryostat, number).values()
    return ConfigurationOut(
        cryostat=slug,
        revision=number,
        newest_revision=cryostat.revision,
        elements=[written(put) for put in rows],
    )


@router.post("/cryostats/{slug}/changes", status_code=201, responses=REFUSALS, response_model=ChangeOut)
def changes(slug: str, sent: ChangeIn, person: ApiPerson, session: WriteSession) -> ChangeOut | JSONResponse:
    """Log one change: all of it, or nothing."""
    puts: list[rules.Put] = []
    faults: dict[str, str] = {}
    for number, row in enumerate(sent.put):
        put, wrong = put_of(row, f"put.{number}")
        puts.append(put)
        faults |= wrong
    change = Change(sent.reason, sent.base_revision, tuple(puts), tuple(sent.remove), sent.done_at)
    try:
        logged = service.log_change(session, person, slug, change, now(), faults)
    except Conflict as conflict:
        session.rollback()
        return stale(conflict)
    return change_out(slug, logged)


def change_out(slug: str, logged: service.Logged) -> ChangeOut:
    """A change as it was logged."""
    stored = logged.budget
    heat = HeatOut(
        cryostat=slug,
        revision=stored.revision,
        cooler_version=stored.cooler_version,
        at=stored.at,
        budget=stored.data,
    )
    return ChangeOut(revision=_revision_out(logged.revision), heat=heat)


@router.get("/cryostats/{slug}/heat", responses=REFUSALS)
def heat(slug: str, _person: ApiPerson, session: ReadSession, revision: At = None) -> HeatOut:
    """The newest budget of a revision; computed afresh, without storing it, where none is stored."""
    cryostat = guards.find(session, slug)
    number = _number(session, cryostat, revision)
    found = budget.of_revision(session, cryostat, number)
    return HeatOut(
        cryostat=slug, revision=number, cooler_version=found.cooler_version, at=found.at, budget=found.data
    )


@router.post("/cryostats/{slug}/heat", responses=REFUSALS)
def recompute(slug: str, person: ApiPerson, session: WriteSession) -> HeatOut:
    """Compute the newest budget anew, and those of open drafts, where model or cooler moved on."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPERATE)
    instruments.recompute(session, person, cryostat, now())
    return heat(slug, person, session)


@router.post("/cryostats/{slug}/state", status_code=201, responses=REFUSALS)
def enter_state(slug: str, sent: StateIn, person: ApiPerson, session: WriteSession) -> CryostatOut:
    """Write down what state it is in, and since when."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPERATE)
    at = now()
    instruments.enter_state(session, person, cryostat, sent.state, sent.since or at, sent.note, at)
    return _cryostat_out(cryostat, instruments.state_now(session, cryostat))


def _number(session: ReadSession, cryostat: Cryostat, revision: int | None) -> int:
    number = cryostat.revision if revision is None else revision
    if number:
        service.revision(session, cryostat, number)
    return number


def _cryostat_out(row: Cryostat, state: Any) -> CryostatOut:
    return CryostatOut(
        **row.model_dump(include={"slug", "name", "place", "stages", "limits_K", "revision"}),
        state=state.state if state else None,
        state_since=state.since if state else None,
    )


def _revision_out(row: Revision) -> RevisionOut:
    return RevisionOut(by=row.by_name, **row.model_dump(exclude={"id", "cryostat_id", "by_name", "by_id"}))


def stale(conflict: Conflict) -> JSONResponse:
    """409, with what the others logged meanwhile."""
    steps = conflict.current if isinstance(conflict.current, list) else []
    rows = [
        {
            "revision": _revision_out(step.revision).model_dump(mode="json"),
            "put": [written(put) for put in rules.puts_of(step.difference)],
            "remove": [put.key for put in step.difference.taken],
        }
        for step in steps
    ]
    body = {
        "error": conflict.message,
        "fields": [{"field": "base_revision", "message": "Stale"}],
        "since": rows,
    }
    return JSONResponse(body, status_code=409)
