"""The pages of a cryostat's channels."""

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.cooldowns import channels, channels_views
from server.cooldowns.channels_rules import Wanted
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.physics.statistics import Band
from server.units import BadNumber, parse_quantity
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/channels")
PAGE = "cooldowns/channels.html"


@router.get("")
def show(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Every channel, and the form of a new one."""
    return render(request, PAGE, channels_views.page(session, person, guards.find(session, slug)))


@router.post("")
def make(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A new channel."""
    cryostat = guards.find(session, slug)
    wanted, wrong = _wanted(form)
    try:
        row = channels.make(session, person, cryostat, wanted, now(), wrong)
    except Refused as refused:
        return _refused(request, session, person, slug, None, form, refused)
    return done(request, f"/cryostats/{slug}/channels", f"Channel {row.name} made.")


@router.get("/{number}")
def show_one(
    request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession
) -> Response:
    """The form of one channel."""
    cryostat = guards.find(session, slug)
    row = channels.find(session, cryostat, number)
    return render(request, PAGE, channels_views.page(session, person, cryostat, row))


@router.post("/{number}")
def alter(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """One channel described anew."""
    cryostat = guards.find(session, slug)
    wanted, wrong = _wanted(form)
    try:
        row = channels.alter(session, person, cryostat, number, wanted, now(), wrong)
    except Refused as refused:
        return _refused(request, session, person, slug, number, form, refused)
    return done(request, f"/cryostats/{slug}/channels", f"Channel {row.name} altered.")


@router.post("/{number}/end")
def end(request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession) -> Response:
    """Nothing is expected of it from now on, or something is again."""
    row = channels.end(session, person, guards.find(session, slug), number, now())
    line = "has ended; its readings stay" if row.ended_at else "is expected to read again"
    return done(request, f"/cryostats/{slug}/channels", f"Channel {row.name} {line}.")


def _wanted(form: Form) -> tuple[Wanted, dict[str, str]]:
    silent_s, wrong = None, {}
    try:
        silent_s = _seconds(form.text("silent_after"))
    except BadNumber as problem:
        wrong["silent_after"] = str(problem)
    wanted = Wanted(
        name=form.text("name"),
        quantity=form.text("quantity"),
        unit=form.text("unit"),
        stage=form.text("stage"),
        part=form.text("part"),
        silent_after_s=silent_s,
    )
    return wanted, wrong


def _seconds(text: str) -> float | None:
    if not text:
        return None
    found = parse_quantity(text, "s", "min")
    if found is None or isinstance(found, Band):
        raise BadNumber("Enter one time such as 10 min, or leave it empty")
    return found


def _refused(
    request: Request,
    session: Session,
    person: Person,
    slug: str,
    number: int | None,
    form: Form,
    refused: Refused,
) -> Response:
    session.rollback()
    cryostat = guards.find(session, slug)
    row = channels.find(session, cryostat, number) if number is not None else None
    typed = dict(form.under(""))
    view = channels_views.page(session, person, cryostat, row, refused.fields, typed)
    return render(request, PAGE, view, status=422)
