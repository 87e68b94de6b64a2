"""The hand-over pack, for programs."""

from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse

from server.cryostats import guards, instruments
from server.db import ReadSession
from server.errors import Forbidden
from server.handover import sending
from server.people.guards import ApiPerson
from server.people.models import Person

router = APIRouter(tags=["hand-over"])
ZIP: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/zip": {}}, "description": "An archive of plain files with its README."}
}


@router.get("/cryostats/{slug}/handover", response_class=FileResponse, responses=ZIP)
def one(request: Request, slug: str, person: ApiPerson, session: ReadSession) -> Response:
    """Everything the next steward of a cryostat needs, as plain files; for stewards."""
    _need_steward(person)
    return sending.archive(request, session, [guards.find(session, slug)])


@router.get("/handover", response_class=FileResponse, responses=ZIP)
def whole(request: Request, person: ApiPerson, session: ReadSession) -> Response:
    """The same of every cryostat of the laboratory; for stewards."""
    _need_steward(person)
    return sending.archive(request, session, instruments.all_of(session))


def _need_steward(person: Person) -> None:
    if not person.steward:
        raise Forbidden("Only a steward may take the hand-over pack.")
