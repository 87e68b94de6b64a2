"""The JSON face of counters. A counter counts in its own unit: hours, or a plain number."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict

from server.cryostats import counters, guards
from server.cryostats.api import REFUSALS
from server.cryostats.counter_rules import COUNTERS, Reading, walked
from server.cryostats.counters import Shown
from server.db import ReadSession, WriteSession, now
from server.people.guards import ApiPerson

router = APIRouter(tags=["counters"])


class ReadingOut(BaseModel):
    """One entry that stands. `total` is `shown` with what went before this meter."""

    id: int
    counter: str
    kind: str
    shown: float
    offset: float
    total: float
    at: datetime
    recorded_at: datetime
    by: str
    note: str
    corrects: int | None


class CounterOut(BaseModel):
    """One counter as it stands, with its newest readings, the newest first."""

    key: str
    label: str
    unit: str
    value: float | None
    at: datetime | None
    readings: list[ReadingOut]


class CountersOut(BaseModel):
    """Every counter of a cryostat."""

    cryostat: str
    hands_on_at: datetime | None
    counters: list[CounterOut]


class ReadingIn(BaseModel):
    """What a meter showed. `replaced` says that it is another meter; `began` what that showed when fitted."""

    model_config = ConfigDict(extra="forbid")

    counter: str
    value: float
    at: AwareDatetime | None = None
    note: str = ""
    replaced: bool = False
    began: float = 0.0
    corrects: int | None = None


@router.get("/cryostats/{slug}/counters", responses=REFUSALS)
def show(
    slug: str, _person: ApiPerson, session: ReadSession, most: Annotated[int, Query(ge=0, le=10_000)] = 100
) -> CountersOut:
    """Every counter, with at most `most` readings of each."""
    cryostat = guards.find(session, slug)
    found = [_counter(key, walked(rows), most) for key, rows in counters.entries(session, cryostat).items()]
    return CountersOut(cryostat=slug, hands_on_at=counters.last_hands_on(session, cryostat), counters=found)


@router.post("/cryostats/{slug}/counters", status_code=201, responses=REFUSALS)
def write(slug: str, sent: ReadingIn, person: ApiPerson, session: WriteSession) -> ReadingOut:
    """Store a reading."""
    cryostat = guards.find(session, slug)
    row = counters.read(session, person, cryostat, Shown(**sent.model_dump()), now())
    stands = counters.readings(session, cryostat, sent.counter)
    return _reading(next(reading for reading in stands if reading.entry.id == row.id))


def _counter(key: str, rows: list[Reading], most: int) -> CounterOut:
    last = rows[-1] if rows else None
    return CounterOut(
        key=key,
        label=COUNTERS[key].label,
        unit=COUNTERS[key].unit,
        value=last.total if last else None,
        at=last.entry.at if last else None,
        readings=[_reading(row) for row in rows[::-1][:most]],
    )


def _reading(row: Reading) -> ReadingOut:
    kept = row.entry.model_dump(exclude={"cryostat_id", "by_name", "by_id", "began"})
    return ReadingOut(by=row.entry.by_name, offset=row.offset, total=row.total, **kept)
