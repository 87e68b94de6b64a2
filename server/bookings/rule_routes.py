"""The page of the booking rules: numbers with their reasons, and the groups."""

from collections.abc import Callable

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.bookings import groups, rule_views, ruling
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import NotFound, Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/plan/rules")
PAGE = "bookings/rules.html"


def _scope(session: Session, text: str) -> str:
    return guards.find(session, text).slug if text and text != ruling.LABORATORY else ruling.LABORATORY


def _address(scope: str) -> str:
    return f"/plan/rules?scope={scope}"


@router.get("")
def show(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """The rules as they hold for the laboratory, or for one cryostat."""
    scope = _scope(session, request.query_params.get("scope", ""))
    return render(request, PAGE, rule_views.page(session, person, scope))


@router.post("")
def write(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Set a number, with the reason."""
    scope = _scope(session, form.text("scope"))
    try:
        ruling.write(
            session, person, scope, form.text("name"), form.text("value"), form.text("reason"), now()
        )
    except Refused as refused:
        session.rollback()
        view = rule_views.page(session, person, scope, form.under(""), refused.fields)
        return render(request, PAGE, view, status=422)
    return done(request, _address(scope), "The number is stored with its reason.")


@router.post("/groups/{act}")
def group(
    request: Request, act: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Make a group, give it a share, let people in or take them out."""
    if act not in ACTS:
        raise NotFound("There is no such step of a group.")
    try:
        ACTS[act](session, person, form)
    except Refused as refused:
        session.rollback()
        faults = {f"group.{name}": text for name, text in refused.fields.items()}
        view = rule_views.page(session, person, ruling.LABORATORY, form.under(""), faults)
        return render(request, PAGE, view, status=422)
    return done(request, "/plan/rules", "Stored.")


def _share(form: Form) -> float | None:
    try:
        return float(form.text("share"))
    except ValueError:
        return None


def _make(session: Session, person: Person, form: Form) -> None:
    groups.make(session, person, form.text("name"), _share(form), now())


def _set_share(session: Session, person: Person, form: Form) -> None:
    groups.set_share(session, person, form.whole("group") or 0, _share(form), now())


def _join(session: Session, person: Person, form: Form) -> None:
    groups.join(session, person, form.whole("group") or 0, form.whole("person") or 0, now())


def _leave(session: Session, person: Person, form: Form) -> None:
    groups.leave(session, person, form.whole("group") or 0, form.whole("person") or 0, now())


ACTS: dict[str, Callable[[Session, Person, Form], None]] = {
    "make": _make,
    "share": _set_share,
    "join": _join,
    "leave": _leave,
}
