"""The page of dirt and gas of a cryostat."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from server.cryostats import dirt, dirt_views, guards
from server.cryostats.dirt_rules import KINDS, Said, read
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/dirt")
PAGE = "cryostats/dirt.html"
Number = Annotated[int, Query(ge=1, le=2**31 - 1)]


@router.get("")
def show(
    request: Request,
    slug: str,
    person: CurrentPerson,
    session: ReadSession,
    kind: str = "solid",
    correct: Number | None = None,
    before: Number | None = None,
) -> Response:
    """What was written down, newest first, and the form of one kind."""
    cryostat = guards.find(session, slug)
    return render(request, PAGE, dirt_views.page(session, person, cryostat, kind, correct, before))


@router.post("")
def write(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """An entry."""
    kind, corrects, done_at = form.text("kind"), None, None
    data, faults = read(kind, form.under(""))
    try:
        done_at = form.moment("done_at", request.state.laboratory.zone)
    except Refused as refused:
        faults |= refused.fields
    try:
        corrects = form.whole("corrects")
        said = Said(kind, form.text("what"), data, done_at, form.text("note"), corrects)
        row = dirt.write(session, person, slug, said, now(), faults)
    except Refused as refused:
        session.rollback()
        cryostat, typed = guards.find(session, slug), dict(form.under(""))
        view = dirt_views.page(session, person, cryostat, kind, corrects, None, refused.fields, typed)
        return render(request, PAGE, view, status=422)
    line = f"{KINDS[row.kind].label}: written down with revision {row.revision}."
    return done(request, f"/cryostats/{slug}/dirt?kind={row.kind}", line)
