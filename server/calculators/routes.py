"""Calculators: every question of the bench at an address of its own, the numbers in the address."""

from fastapi import APIRouter, Request, Response

from server.calculators import views
from server.db import ReadSession
from server.people.guards import CurrentPerson
from server.web.render import render

router = APIRouter()


@router.get("/calculators")
def index(request: Request, _person: CurrentPerson) -> Response:
    """All of them."""
    return render(request, "calculators/index.html", views.index())


@router.get("/calculators/{key}")
def show(request: Request, key: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """One of them, worked out for the numbers in the address."""
    view = views.show(session, key, dict(request.query_params))
    bad = bool(view.faults or view.refusal)
    return render(request, "calculators/show.html", view, status=422 if bad else 200)


@router.get("/evidence")
def evidence(
    request: Request, _person: CurrentPerson, tag: str = "", mechanism: str | None = None
) -> Response:
    """Published values beside what is computed for them, a page a mechanism, or by tag, or all."""
    return render(request, "calculators/evidence.html", views.evidence(tag, mechanism))
