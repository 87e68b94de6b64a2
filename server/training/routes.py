"""Pages of training: who learns, what was seen of it, signed; whose grade lapses."""

from datetime import date

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.training import service, views
from server.training.service import Seen
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter()
HOME = "/cryostats/{slug}/training"
ONE = HOME + "/{number}"


def _index_again(
    request: Request, slug: str, person: Person, session: Session, form: Form, refused: Refused
) -> Response:
    session.rollback()
    cryostat = guards.find(session, slug)
    view = views.index(session, person, cryostat, now(), form.under(""), refused.fields)
    return render(request, "training/index.html", view, status=422)


def _day(form: Form, name: str, faults: dict[str, str]) -> date | None:
    try:
        return date.fromisoformat(form.text(name)) if form.text(name) else None
    except ValueError:
        faults[name] = "Enter a day such as 2026-03-14"
        return None


@router.get(HOME)
def index(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Who learns what here."""
    cryostat = guards.find(session, slug)
    return render(request, "training/index.html", views.index(session, person, cryostat, now()))


@router.post(HOME)
def begin(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Begin somebody's way to a grade."""
    try:
        grade = form.whole("grade") or 0
        login, mentor = form.text("login"), form.text("mentor")
        row = service.begin(session, person, slug, login, grade, mentor, now())
    except Refused as refused:
        return _index_again(request, slug, person, session, form, refused)
    return done(request, f"/cryostats/{slug}/training/{row.id}", "It begins.")


@router.post(HOME + "/accompanied")
def accompany(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """An accompanied opening."""
    faults: dict[str, str] = {}
    try:
        day = _day(form, "day", faults)
        service.accompany(session, person, slug, form.text("login"), day, now())
    except Refused as refused:
        return _index_again(request, slug, person, session, form, refused)
    return done(request, f"/cryostats/{slug}/training", "Written down: hands were on it.")


@router.get(ONE)
def show(request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One training."""
    return render(request, "training/training.html", views.one(session, person, slug, number))


@router.post(ONE + "/entries")
def enter(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A line that was gone through."""
    faults: dict[str, str] = {}
    day = _day(form, "done_on", faults)
    passed = form.text("passed") != "no"
    seen = Seen(form.text("line"), form.text("evidence"), form.text("trainer"), day, passed)
    try:
        service.enter(session, person, slug, number, seen, now(), faults)
    except Refused as refused:
        return _again(request, (slug, number), person, session, form, refused)
    return done(request, f"/cryostats/{slug}/training/{number}", "Written down.")


@router.post(ONE + "/next")
def book(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """The day of the next step."""
    try:
        service.book(session, person, slug, number, _day(form, "day", {}), form.text("what"), now())
    except Refused as refused:
        return _again(request, (slug, number), person, session, form, refused)
    return done(request, f"/cryostats/{slug}/training/{number}", "The day is agreed.")


@router.post(ONE + "/signature")
def sign(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Sign the grade."""
    try:
        row = service.sign(session, person, slug, number, now())
    except Refused as refused:
        return _again(request, (slug, number), person, session, form, refused)
    line = f"Signed: {row.person_name} has the grade."
    return done(request, f"/cryostats/{slug}/training/{number}", line)


def _again(
    request: Request, place: tuple[str, int], person: Person, session: Session, form: Form, refused: Refused
) -> Response:
    session.rollback()
    view = views.one(session, person, *place, form.under(""), refused.fields)
    return render(request, "training/training.html", view, status=422)
