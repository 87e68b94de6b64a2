"""The first page."""

from fastapi import APIRouter, Request, Response

from server.db import ReadSession, now
from server.people.guards import CurrentPerson
from server.today import views
from server.web.render import render

router = APIRouter()


@router.get("/")
def start(_person: CurrentPerson) -> Response:
    """The first page is today's."""
    return Response(status_code=303, headers={"Location": "/today"})


@router.get("/today")
def show(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """What this person should know today, and every cryostat at a glance."""
    return render(request, "today/show.html", views.today(session, person, now()))
