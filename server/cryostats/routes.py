"""Pages of a configuration: what is inside now, any revision, a comparison, a restore."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from server.cryostats import beside_views, guards, instruments, service, views
from server.cryostats.rules import OPERATE
from server.db import ReadSession, WriteSession, now
from server.people.guards import CurrentPerson
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}")
Number = Annotated[int, Query(ge=0, le=2**31 - 1)]


@router.get("")
def show(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """What is inside now, and how cold it ought to be."""
    cryostat = guards.find(session, slug)
    view = views.configuration(session, person, cryostat, cryostat.revision)
    beside = beside_views.beside(session, cryostat)
    return render(request, "cryostats/show.html", view, beside=beside)


@router.post("/budget")
def recompute(request: Request, slug: str, person: CurrentPerson, session: WriteSession) -> Response:
    """Compute the newest budgets anew where model or cooler moved on."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPERATE)
    number = instruments.recompute(session, person, cryostat, now())
    line = f"Budgets computed anew: {number}." if number else "Every budget is up to date."
    return done(request, f"/cryostats/{slug}", line)


@router.get("/revisions")
def revisions(
    request: Request, slug: str, person: CurrentPerson, session: ReadSession, before: Number | None = None
) -> Response:
    """Every change, newest first."""
    view = views.revisions(session, person, guards.find(session, slug), before)
    return render(request, "cryostats/revisions.html", view)


@router.get("/revisions/{number}")
def revision(
    request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession
) -> Response:
    """What was inside at one revision."""
    cryostat = guards.find(session, slug)
    service.revision(session, cryostat, number)
    beside = beside_views.beside(session, cryostat) if number == cryostat.revision else None
    view = views.configuration(session, person, cryostat, number)
    return render(request, "cryostats/show.html", view, beside=beside)


@router.post("/revisions/{number}/restore")
def restore(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Bring a revision back as a new one."""
    base = form.whole("base_revision")
    reason = form.text("reason") or f"Bring back revision {number}"
    logged = service.restore(session, person, slug, number, -1 if base is None else base, reason, now())
    line = f"Revision {logged.revision.number} logged; it brings back revision {number}."
    return done(request, f"/cryostats/{slug}", line)


@router.get("/compare")
def compare(
    request: Request,
    slug: str,
    _person: CurrentPerson,
    session: ReadSession,
    first: Annotated[int, Query(alias="from", ge=0, le=2**31 - 1)] = 0,
    second: Annotated[int | None, Query(alias="to", ge=0, le=2**31 - 1)] = None,
) -> Response:
    """Two revisions against each other, and what the difference does to each stage."""
    cryostat = guards.find(session, slug)
    last = cryostat.revision if second is None else second
    for number in (first, last):
        if number:
            service.revision(session, cryostat, number)
    return render(request, "cryostats/compare.html", views.comparison(session, cryostat, first, last))
