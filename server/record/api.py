"""What was in it on that day, for programs."""

from datetime import UTC, date, datetime
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, Field
from sqlmodel import Session

from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.db import ReadSession, now
from server.errors import Refused
from server.laboratory import service as laboratory
from server.people.guards import ApiPerson
from server.record import views
from server.record.views import Record

router = APIRouter(tags=["record"])


class TableOut(BaseModel):
    """One table of the record."""

    title: str
    rows: Annotated[list[dict[str, str]], Field(description="Each row by the words of the table's head.")]


class ImageOut(BaseModel):
    """One image of the record; `/files/{sha256}` serves it to whoever is signed in."""

    caption: str
    media_type: str
    sha256: str


class RecordOut(BaseModel):
    """The record of one moment."""

    title: str
    at: datetime
    reference: Annotated[str, Field(description="Stays until somebody adds to what the record tells.")]
    revision: Annotated[int, Field(description="0 before the first.")]
    tables: list[TableOut]
    images: list[ImageOut]


@router.get("/cryostats/{slug}/record")
def record(
    slug: str,
    _person: ApiPerson,
    session: ReadSession,
    at: Annotated[AwareDatetime | None, Query(description="A moment, with its zone.")] = None,
    day: Annotated[date | None, Query(description="A day of the laboratory: what stood at its end.")] = None,
    cooldown: Annotated[int | None, Query(ge=0, le=2**31 - 1, description="What stood at its base.")] = None,
) -> RecordOut:
    """What was inside at a moment, on a day, or in a cooldown; exactly one of the three is asked for."""
    if [at, day, cooldown].count(None) != 2:
        words = "Ask for one of a moment, a day and a cooldown"
        raise Refused("Which record?", dict.fromkeys(("at", "day", "cooldown"), words))
    return _out(_asked(session, guards.find(session, slug), at, day, cooldown))


def _asked(
    session: Session, cryostat: Cryostat, at: datetime | None, day: date | None, cooldown: int | None
) -> Record:
    zone = laboratory.get(session).zone
    if at is not None:
        return views.of_moment(session, cryostat, at, zone, now())
    if day is not None:
        return views.of_day(session, cryostat, views.day_of(day, now(), zone), zone, now())
    return views.of_cooldown(session, cryostat, cooldown or 0, zone)


def _out(found: Record) -> RecordOut:
    told = found.found
    tables = [
        TableOut(title=one.title, rows=[dict(zip(one.head, row, strict=True)) for row in one.rows])
        for one in found.sections
    ]
    images = [
        ImageOut(caption=caption, media_type=file.media_type, sha256=file.digest)
        for caption, file in found.files
    ]
    return RecordOut(
        title=found.title,
        at=told.at.astimezone(UTC),
        reference=found.reference,
        revision=told.revision.number if told.revision else 0,
        tables=tables,
        images=images,
    )
