"""Pages of the plan: everybody's timeline, asking for a cryostat, one booking, its holds."""

from datetime import date

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.bookings import ask_views, forms, service, views
from server.bookings.checks import Ask
from server.bookings.models import Booking
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter()
ON_PAGE = {"want": "inside", "draft": "inside", "wanted_K": "wanted"}
"""Fields of an ask that the page calls otherwise."""


@router.get("/plan")
def plan(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """The timeline of all cryostats."""
    asked = request.query_params
    view = views.plan(session, person, asked.get("view", views.WEEK), _day(asked.get("from", "")), now())
    return render(request, "bookings/plan.html", view)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@router.get("/plan/shares")
def shares(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """Who used how much against their share."""
    return render(request, "bookings/shares.html", views.shares(session, now()))


@router.get("/cryostats/{slug}/plan/part")
def now_part(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """Who has one cryostat now and who is next: a part for its page, or the way to the plan."""
    cryostat = guards.find(session, slug)
    if not wants_part(request):
        return Response(status_code=303, headers={"Location": "/plan"})
    return render(request, "bookings/_now.html", views.now_part(session, cryostat, now()))


@router.get("/cryostats/{slug}/book")
def asking(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Ask for cold hours; with an ask in the address, the first slots for it."""
    form = Form(list(request.query_params.multi_items()))
    zone = request.state.laboratory.zone
    ask, faults = forms.ask(form, zone) if form.has("cold_hours") else (None, {})
    return _page(request, session, person, slug, form, ask, faults)


def _page(
    request: Request,
    session: Session,
    person: Person,
    slug: str,
    form: Form,
    ask: Ask | None,
    faults: dict[str, str],
    conflict: str = "",
) -> Response:
    cryostat, typed = guards.find(session, slug), forms.typed(form)
    status = 409 if conflict else 422 if faults else 200
    if ask is not None and not faults:
        faults = ask_views.faults(session, person, cryostat, ask)
    faults = {ON_PAGE.get(name, name): text for name, text in faults.items()} | {
        name: text for name, text in faults.items() if name not in ON_PAGE
    }
    view = ask_views.page(session, person, cryostat, now(), typed, ask, faults, conflict)
    return render(request, "bookings/ask.html", view, status=422 if faults and not conflict else status)


@router.post("/cryostats/{slug}/book")
def book(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Take a slot, or wait for a place."""
    zone = request.state.laboratory.zone
    ask, faults = forms.ask(form, zone)
    try:
        made = _take(session, person, slug, form, ask, faults, zone)
    except (Refused, Conflict) as problem:
        session.rollback()
        conflict = problem.message if isinstance(problem, Conflict) else ""
        return _page(request, session, person, slug, form, ask, dict(problem.fields), conflict)
    words = (
        "You wait for a place; you are told when time comes free." if made.state != "booked" else "Booked."
    )
    return done(request, f"/bookings/{made.id}", words)


def _take(
    session: Session, person: Person, slug: str, form: Form, ask: Ask, faults: dict[str, str], zone: str
) -> Booking:
    if form.text("do") == "wait":
        return service.wait(session, person, slug, ask, now(), faults)
    starts = forms.moment(form, "cold_starts", zone, faults)
    if starts is None:
        raise Refused("Not booked.", {"cold_starts": "Choose one of the slots"} | faults)
    return service.book(session, person, slug, ask, starts, now(), faults)
