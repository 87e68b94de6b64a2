"""Today, for programs."""

from datetime import date
from typing import Annotated

from fastapi import APIRouter
from pydantic import BaseModel, Field

from server.db import ReadSession, now
from server.notices import service
from server.notices.rules import KINDS
from server.people.guards import ApiPerson

router = APIRouter(tags=["today"])


class NoticeOut(BaseModel):
    """A thing the owner of the token should know today."""

    kind: Annotated[str, Field(description=", ".join(KINDS))]
    key: Annotated[str, Field(description="Stays the same while it is the same thing.")]
    what: str
    step: Annotated[str, Field(description="The one next step.")]
    address: Annotated[str, Field(description="Where that is done.")]
    on: Annotated[date | None, Field(description="The day it is due, in the laboratory's zone.")]


@router.get("/today")
def today(person: ApiPerson, session: ReadSession) -> list[NoticeOut]:
    """What the owner of the token should know today, in order of what stops work."""
    rows = service.for_person(session, person, now())
    return [
        NoticeOut(kind=r.kind, key=r.key, what=r.what, step=r.step, address=r.address, on=r.on) for r in rows
    ]
