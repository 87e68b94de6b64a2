"""The page of a cryostat's counters."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from server.cryostats import counter_views, counters, guards
from server.cryostats.counter_models import CounterEntry
from server.cryostats.counters import Shown
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.units import BadNumber, to_si
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/counters")
PAGE = "cryostats/counters.html"
Number = Annotated[int, Query(ge=1, le=2**31 - 1)]


@router.get("")
def show(
    request: Request,
    slug: str,
    person: CurrentPerson,
    session: ReadSession,
    correct: Number | None = None,
    most: Annotated[int, Query(ge=1, le=100_000)] = counter_views.PAGE,
) -> Response:
    """What stands, the form to type a reading, and the past."""
    view = counter_views.page(session, person, guards.find(session, slug), correct, most=most)
    return render(request, PAGE, view)


@router.post("")
def write(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Store a reading."""
    try:
        row = _read(session, person, slug, form, request.state.laboratory.zone)
    except Refused as refused:
        session.rollback()
        cryostat, typed = guards.find(session, slug), dict(form.under(""))
        again = form.text("corrects")
        correcting = int(again) if again.isdecimal() and len(again) < 10 else None
        view = counter_views.page(session, person, cryostat, correcting, refused.fields, typed)
        return render(request, PAGE, view, status=422)
    label = counters.COUNTERS[row.counter].label
    return done(request, f"/cryostats/{slug}/counters", f"{label}: {row.shown:g} stored.")


def _read(session: WriteSession, person: Person, slug: str, form: Form, zone: str) -> CounterEntry:
    faults: dict[str, str] = {}
    at = corrects = None
    try:
        at, corrects = form.moment("at", zone), form.whole("corrects")
    except Refused as refused:
        faults |= refused.fields
    value, began = _number(form, "value", faults), _number(form, "began", faults)
    said = Shown(form.text("counter"), value, at, form.text("note"), form.has("replaced"), began, corrects)
    return counters.read(session, person, guards.find(session, slug), said, now(), faults)


def _number(form: Form, name: str, faults: dict[str, str]) -> float:
    """A plain number, with or without an h behind it; what cannot be read is a fault."""
    text = form.text(name).removesuffix("h").strip()
    if not text and name == "began":
        return 0.0
    try:
        return to_si(text, "")
    except BadNumber:
        faults[name] = "Enter what it shows, such as 12450.5"
        return 0.0
