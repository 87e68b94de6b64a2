"""The drawing of one cooldown: a part of its page, or a page of its own."""

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from server.cooldowns import plotted, service
from server.cooldowns.finding import Sheet
from server.cooldowns.plots import Drawing
from server.cryostats import guards
from server.db import ReadSession, now
from server.people.guards import CurrentPerson
from server.web.render import render, wants_part

router = APIRouter(prefix="/cryostats/{slug}/cooldowns/{number}")
PAGE = "cooldowns/plotted.html"


@dataclass(frozen=True)
class PlottedView:
    """A cooldown and its drawing."""

    sheet: Sheet
    drawing: Drawing | None


@router.get("/plot")
def show(request: Request, slug: str, number: int, _person: CurrentPerson, session: ReadSession) -> Response:
    """How it went, as a drawing."""
    sheet = service.find(session, guards.find(session, slug), number)
    drawing = plotted.drawing(session, sheet, request.state.laboratory.zone, now())
    view = PlottedView(sheet, drawing)
    return render(request, PAGE, view, block="part" if wants_part(request) else None)
