"""The oxygen arithmetic, for whoever answers for safety only; a steward stands in while nobody does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from server.cautions import oxygen, service
from server.cautions.models import Card
from server.cautions.oxygen import Asked
from server.cautions.oxygen_models import OxygenCard
from server.db import ReadSession, WriteSession, now
from server.errors import Forbidden, Refused
from server.people import service as people
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.physics.statistics import Band
from server.units import BadNumber, parse_quantity
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter()


def officer(person: CurrentPerson, session: ReadSession) -> Person:
    """Whoever is signed in, if they answer for safety; Forbidden."""
    if not people.answers_for_safety(session, person):
        raise Forbidden("Only whoever answers for safety may do this; a steward says who that is.")
    return person


Officer = Annotated[Person, Depends(officer)]
PAGE = "cautions/oxygen.html"
UNITS = {"volume_m3": ("m3", "m3"), "release_m3": ("m3", "m3"), "rate_m3_s": ("m3_s", "L/min")}
UNITS |= {"duration_s": ("s", "h"), "air_changes_per_h": ("", "")}


@dataclass(frozen=True)
class OxygenView:
    """Every card, and the form."""

    cards: Sequence[OxygenCard]
    caution: Card
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


def _number(form: Form, name: str) -> float | None:
    """The number; of a range or an unknown there is no card."""
    try:
        value = parse_quantity(form.text(name), *UNITS[name])
    except BadNumber:
        return None
    return None if isinstance(value, Band) or value is None else float(value)


@router.get("/oxygen")
def show(request: Request, _officer: Officer, session: ReadSession) -> Response:
    """What was reckoned, and a form."""
    return render(request, PAGE, OxygenView(oxygen.cards(session), service.card(session, "S01")))


@router.post("/oxygen")
def record(request: Request, officer: Officer, session: WriteSession, form: SentForm) -> Response:
    """Reckon a room and keep it."""
    numbers = {name: _number(form, name) for name in oxygen.NUMBERS}
    asked = Asked(form.text("room"), form.text("gas"), numbers, form.text("note"))
    try:
        row = oxygen.record(session, officer, asked, now())
    except Refused as refused:
        session.rollback()
        view = OxygenView(oxygen.cards(session), service.card(session, "S01"), form.under(""), refused.fields)
        return render(request, PAGE, view, status=refused.status)
    return done(request, "/oxygen", f"Reckoned for {row.room}. It is no permission; local rules decide.")
