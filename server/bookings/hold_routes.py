"""The page of a cryostat's holds: placed, prolonged, ended."""

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.bookings import forms, hold_views, holds
from server.bookings.holds import Held
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, NotFound, Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/holds")
PAGE = "bookings/holds.html"


@router.get("")
def index(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Its holds."""
    view = hold_views.page(session, person, guards.find(session, slug), now())
    return render(request, PAGE, view)


@router.post("")
def place(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Place a hold; whoever is in its way is told."""
    try:
        holds.hold(session, person, slug, _held(form, request.state.laboratory.zone), now())
    except (Refused, Conflict) as problem:
        return _again(request, session, person, slug, form, problem, 0)
    return done(request, f"/cryostats/{slug}/holds", "The hold stands; whoever was in its way is told.")


def _held(form: Form, zone: str) -> Held:
    faults: dict[str, str] = {}
    starts = forms.moment(form, "starts", zone, faults) or now()
    ends = forms.moment(form, "ends", zone, faults)
    if ends is None and "ends" not in faults:
        faults["ends"] = "Enter when it is expected to end"
    if faults or ends is None:
        raise Refused(holds.NOT_HELD, faults)
    kind, soft = form.text("kind"), form.has("soft")
    return Held(kind, form.text("reason"), form.text("condition"), starts, ends, soft)


@router.post("/{number}/{act}")
def alter(
    request: Request,
    slug: str,
    number: int,
    act: str,
    person: CurrentPerson,
    session: WriteSession,
    form: SentForm,
) -> Response:
    """Prolong a hold, or end it."""
    cryostat = guards.find(session, slug)
    if holds.find(session, number).cryostat_id != cryostat.id or act not in ("prolong", "end"):
        raise NotFound("There is no such hold here.")
    try:
        if act == "end":
            holds.end_hold(session, person, number, form.text("note"), now())
        else:
            ends = form.moment("ends", request.state.laboratory.zone) or now()
            holds.prolong(session, person, number, ends, form.text("note"), now())
    except (Refused, Conflict) as problem:
        return _again(request, session, person, slug, form, problem, number)
    words = "The hold has ended; those who wait are told." if act == "end" else "The hold is prolonged."
    return done(request, f"/cryostats/{slug}/holds", words)


def _again(
    request: Request,
    session: Session,
    person: Person,
    slug: str,
    form: Form,
    problem: Refused | Conflict,
    number: int,
) -> Response:
    session.rollback()
    conflict = problem.message if isinstance(problem, Conflict) else ""
    cryostat, typed = guards.find(session, slug), form.under("")
    view = hold_views.page(session, person, cryostat, now(), typed, problem.fields, conflict, number)
    return render(request, PAGE, view, status=problem.status)
