"""The JSON face of maintenance."""

from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from server.cryostats import guards
from server.cryostats.api import REFUSALS
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.maintenance import due as looking
from server.maintenance import service, tasks
from server.maintenance.due import Due
from server.maintenance.rules import Done
from server.people.guards import ApiPerson

router = APIRouter(tags=["maintenance"], prefix="/cryostats/{slug}/tasks")


class TaskOut(BaseModel):
    """A task as it stands: the band of dates, what fires first, what to do next."""

    id: int
    name: str
    kind: str
    state: str
    why: str
    next_step: str
    earliest: datetime | None
    likely: datetime | None
    latest: datetime | None
    order_by: date | None
    stops_work: bool
    limits: dict[str, float]
    put_off: dict[str, int]


class TasksOut(BaseModel):
    """The tasks of a cryostat, in the order of what stops work."""

    tasks: list[TaskOut]


class EventIn(BaseModel):
    """It was done. `resets` names the clocks that begin anew; `used` maps an item's key to an amount."""

    model_config = ConfigDict(extra="forbid")

    text: str
    resets: list[str]
    at: AwareDatetime | None = None
    found: dict[str, str] = {}
    hours: float | None = None
    helium_Pa: float | None = None
    used: dict[str, float] = Field(default={}, description="Amounts above 0")


@router.get("", responses=REFUSALS)
def index(slug: str, _person: ApiPerson, session: ReadSession) -> TasksOut:
    """What is due, and when."""
    cryostat = guards.find(session, slug)
    return TasksOut(tasks=[_task(row) for row in service.due(session, now(), cryostat.id)])


@router.get("/falling-due", responses=REFUSALS)
def falling_due(
    slug: str,
    _person: ApiPerson,
    session: ReadSession,
    starts: Annotated[AwareDatetime, Query(alias="from")],
    ends: Annotated[AwareDatetime, Query(alias="until")],
) -> TasksOut:
    """The tasks that may fall due inside a stretch, such as a booking, as the books stand now."""
    if ends <= starts:
        raise Refused("Which stretch?", {"until": "Later than the beginning"})
    cryostat = guards.find(session, slug)
    assert cryostat.id is not None
    return TasksOut(
        tasks=[_task(row) for row in service.due_between(session, cryostat.id, starts, ends, now())]
    )


@router.post("/{number}/events", status_code=201, responses=REFUSALS)
def done(slug: str, number: int, sent: EventIn, person: ApiPerson, session: WriteSession) -> TaskOut:
    """Write down that a task was done."""
    moment = now()
    event = Done(
        at=sent.at or moment,
        text=sent.text,
        resets=tuple(sent.resets),
        found=sent.found,
        hours=sent.hours,
        helium_Pa=sent.helium_Pa,
        used=sent.used,
    )
    service.done(session, person, slug, number, event, moment)
    task, cryostat = tasks.find(session, slug, number)
    return _task(looking.of_task(session, task, cryostat, moment))


def _task(row: Due) -> TaskOut:
    task = row.task
    assert task.id is not None
    marks = {key: mark for key, mark in task.marks.items() if isinstance(mark, dict)}
    return TaskOut(
        id=task.id,
        name=task.name,
        kind=task.kind,
        state=row.state,
        why=row.why,
        next_step=row.next_step,
        earliest=row.dates.earliest,
        likely=row.dates.likely,
        latest=row.dates.latest,
        order_by=row.order_by,
        stops_work=task.stops_work,
        limits=task.limits,
        put_off={key: mark["times"] for key, mark in marks.items() if mark.get("times")},
    )
