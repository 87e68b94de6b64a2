"""The page of one booking, and what can be done with it. Every act ends on its page again."""

from collections.abc import Callable

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.bookings import booking_views, forms, reality, service
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, NotFound, Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/bookings/{number}")
PAGE = "bookings/booking.html"
Act = Callable[[Session, Person, int, Form, str], str]


@router.get("")
def show(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One booking."""
    return render(request, PAGE, booking_views.page(session, person, number, now()))


@router.get("/cancel")
def ask_cancel(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """What cancelling means, before it is done."""
    view = booking_views.page(session, person, number, now())
    return render(request, "bookings/cancel.html", view)


@router.post("/{act}")
def do(
    request: Request, number: int, act: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Do something with a booking."""
    if act not in ACTS:
        raise NotFound("There is no such step of a booking.")
    try:
        line = ACTS[act](session, person, number, form, request.state.laboratory.zone)
    except (Refused, Conflict) as problem:
        session.rollback()
        conflict = problem.message if isinstance(problem, Conflict) else ""
        view = booking_views.page(session, person, number, now(), problem.fields, conflict)
        return render(request, PAGE, view, status=problem.status)
    return done(request, f"/bookings/{number}", line)


def _cancel(session: Session, person: Person, number: int, form: Form, _zone: str) -> str:
    service.cancel(session, person, number, now(), form.text("note"))
    return "Cancelled. It stays in the book."


def _move(session: Session, person: Person, number: int, form: Form, zone: str) -> str:
    starts = form.moment("cold_starts", zone)
    if starts is None:
        raise Refused("Not moved.", {"cold_starts": "Enter when the cold window shall begin"})
    service.move(session, person, number, starts, now(), form.text("note"))
    return "It has its new place."


def _window(session: Session, person: Person, number: int, form: Form, zone: str) -> str:
    ends = form.moment("window_ends", zone)
    if ends is None:
        raise Refused("Nothing was altered.", {"window_ends": "Enter when the cold window shall end"})
    if form.text("do") == "shorten":
        reality.shorten(session, person, number, ends, now())
        return "The window ends earlier."
    asked = reality.extend(session, person, number, ends, now())
    return "The next owner is asked." if asked else "The window lasts longer."


def _freeze(session: Session, person: Person, number: int, _form: Form, _zone: str) -> str:
    service.freeze(session, person, number, now())
    return "Its configuration is frozen; what its opening takes is promised."


def _begin(session: Session, person: Person, number: int, _form: Form, _zone: str) -> str:
    reality.begin(session, person, number, now())
    return "Written down as begun."


def _agree(session: Session, person: Person, number: int, _form: Form, _zone: str) -> str:
    reality.agree(session, person, number, now())
    return "You said yes; what comes after moves with it."


def _no_show(session: Session, person: Person, number: int, _form: Form, _zone: str) -> str:
    reality.no_show(session, person, number, now())
    return "Its time is offered to others."


def _shift(session: Session, person: Person, number: int, form: Form, _zone: str) -> str:
    faults: dict[str, str] = {}
    late = forms.hours(form, "late_h", faults)
    if faults or late is None:
        raise Refused("Nothing was shifted.", faults or {"late_h": "Enter hours such as 3"})
    reality.shift(session, person, number, late, now())
    return f"The plan is shifted by {late:g} h; everybody behind is told."


def _give_back(session: Session, person: Person, number: int, form: Form, _zone: str) -> str:
    faults: dict[str, str] = {}
    lost = forms.hours(form, "hours", faults)
    if faults:
        raise Refused("Nothing was written down.", faults)
    reality.give_back(session, person, number, lost or 0.0, form.text("cause"), form.text("note"), now())
    return "Written down."


ACTS: dict[str, Act] = {
    "cancel": _cancel,
    "move": _move,
    "window": _window,
    "freeze": _freeze,
    "begin": _begin,
    "agree": _agree,
    "no-show": _no_show,
    "shift": _shift,
    "give-back": _give_back,
}
