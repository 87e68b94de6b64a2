"""Pages of the safety cards."""

from fastapi import APIRouter, Request, Response

from server.cautions import forms, service, views
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson, Steward
from server.web.forms import SentForm
from server.web.moments import today
from server.web.render import done, render

router = APIRouter()


@router.get("/cautions")
def index(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """All cards."""
    return render(request, "cautions/index.html", views.cards(session, today(request, now())))


@router.get("/cautions/{code}")
def show(request: Request, person: CurrentPerson, session: ReadSession, code: str) -> Response:
    """One card, to be read or printed."""
    return render(request, "cautions/card.html", views.card(session, person, code, today(request, now())))


@router.post("/cautions/{code}")
def alter(request: Request, steward: Steward, session: WriteSession, code: str, form: SentForm) -> Response:
    """Store the laboratory's part of a card."""
    try:
        service.alter(session, steward, code, forms.read(form), now())
    except Refused as refused:
        session.rollback()
        view = views.card(session, steward, code, today(request, now()), form, refused)
        return render(request, "cautions/card.html", view, status=refused.status)
    return done(request, f"/cautions/{code}", f"Card {code} stored.")
