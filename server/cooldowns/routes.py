"""Pages of the cooldowns: all of a cryostat, one of them, and each step and entry of it."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from server.cooldowns import forms, list_views, listed, marks, reference, service, views
from server.cooldowns.forms import Here
from server.cooldowns.views import Trouble
from server.cryostats import change_form, contents, drafts, guards
from server.cryostats.rules import applied
from server.db import ReadSession, WriteSession, now
from server.errors import NotFound, Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter(prefix="/cryostats/{slug}/cooldowns")
Number = Annotated[int | None, Query(ge=0, le=2**31 - 1)]
LIST, SHEET, SIMILAR = "cooldowns/index.html", "cooldowns/show.html", "cooldowns/similar.html"


@router.get("")
def index(
    request: Request, slug: str, person: CurrentPerson, session: ReadSession, before: Number = None
) -> Response:
    """The cooldowns of a cryostat, newest first."""
    view = list_views.index(session, person, guards.find(session, slug), before)
    return render(request, LIST, view)


@router.get("/similar")
def similar(
    request: Request,
    slug: str,
    _person: CurrentPerson,
    session: ReadSession,
    revision: Number = None,
    draft: Number = None,
    before: Number = None,
) -> Response:
    """The last cooldown of a configuration like a revision or a draft: a part of another page, or a page."""
    cryostat = guards.find(session, slug)
    if draft is not None:
        sheet = drafts.find(session, draft)
        if sheet.cryostat.id != cryostat.id:
            raise NotFound(f"{cryostat.name} has no draft {draft}.")
        puts, of_what = drafts.intended(session, cryostat, sheet.version), sheet.draft.name
    else:
        number = cryostat.revision if revision is None else min(revision, cryostat.revision)
        puts, of_what = contents.elements(session, cryostat, number), f"revision {number}"
    view = views.alike(session, cryostat, puts, of_what, before)
    return render(request, SIMILAR, view, block="part" if wants_part(request) else None)


@router.post("/similar")
def similar_to_change(
    request: Request, slug: str, _person: CurrentPerson, session: ReadSession, form: SentForm
) -> Response:
    """The same for a change in hand, as its form holds it; nothing is stored."""
    cryostat = guards.find(session, slug)
    in_hand = change_form.read(form, request.state.laboratory.zone)
    ground = contents.elements(session, cryostat, min(in_hand.base_revision, cryostat.revision))
    full, _ = change_form.with_editor_put(in_hand, cryostat, ground)
    puts = applied(ground, change_form.change_of(full))
    view = views.alike(session, cryostat, puts, "this change")
    return render(request, SIMILAR, view, block="part" if wants_part(request) else None)


@router.get("/{number}")
def show(
    request: Request,
    slug: str,
    number: int,
    person: CurrentPerson,
    session: ReadSession,
    beside: str = "",
) -> Response:
    """One cooldown; `beside=today` adds what is computed of it today."""
    sheet = service.find(session, guards.find(session, slug), number)
    view = views.show(session, person, sheet, now(), with_today=beside == "today")
    return render(request, SHEET, view)


@router.post("")
def prepare(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A new cooldown, pumped for."""
    here = _here(request)
    faults: dict[str, str] = {}
    at = forms.moment(form, "at", here, faults)
    try:
        if faults:
            raise Refused("The cooldown was not begun.", faults)
        made = service.prepare(session, person, slug, form.text("purpose"), at, here.now)
    except Refused as refused:
        session.rollback()
        trouble = _trouble("prepare", refused, form)
        view = list_views.index(session, person, guards.find(session, slug), None, trouble)
        return render(request, LIST, view, status=422)
    line = f"Cooldown {made.cooldown.number} is in the book, with what is expected of it."
    return done(request, _address(slug, made.cooldown.number), line)


def _here(request: Request) -> Here:
    return Here(request.state.laboratory.zone, now())


def _address(slug: str, number: int) -> str:
    return f"/cryostats/{slug}/cooldowns/{number}"


def _trouble(form_name: str, refused: Refused, form: Form) -> Trouble:
    words = "" if refused.fields else refused.message
    return Trouble(form_name, refused.fields, dict(form.under("")), words)


def _step(
    request: Request,
    session: Session,
    person: Person,
    at: tuple[str, int, str],
    form: Form,
    do: Callable[[Here], str],
) -> Response:
    """Do one thing to a cooldown, then on to its page; else the page with what is to be mended."""
    slug, number, name = at
    here = _here(request)
    try:
        line = do(here)
    except Refused as refused:
        session.rollback()
        sheet = service.find(session, guards.find(session, slug), number)
        view = views.show(session, person, sheet, here.now, _trouble(name, refused, form))
        return render(request, SHEET, view, status=422)
    return done(request, _address(slug, number), line)


@router.post("/{number}/start")
def start(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Cooling began."""

    def do(here: Here) -> str:
        service.start_of(session, person, slug, number, forms.beginning(form, here), here.now)
        return "Cooling is written down, and what was expected stands."

    return _step(request, session, person, (slug, number, "start"), form, do)


@router.post("/{number}/entries")
def enter(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Something written down."""

    def do(here: Here) -> str:
        service.enter(session, person, slug, number, forms.written(form, here), here.now)
        return "Written down."

    return _step(request, session, person, (slug, number, form.text("kind")), form, do)


@router.post("/{number}/entries/{entry_id}/take-back")
def take_back(
    request: Request,
    slug: str,
    number: int,
    entry_id: int,
    person: CurrentPerson,
    session: WriteSession,
    form: SentForm,
) -> Response:
    """An entry no longer counts."""

    def do(here: Here) -> str:
        service.take_back(session, person, slug, number, entry_id, form.text("reason"), here.now)
        return "Taken back. It stays in the book and says so."

    return _step(request, session, person, (slug, number, f"take-back-{entry_id}"), form, do)


@router.post("/{number}/checklists")
def begin_checklist(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A checklist for this cooldown; on to its page."""
    found = listed.begin(session, person, slug, number, form.text("list"), now())
    return done(request, found, "The checklist is begun.")


@router.post("/{number}/marks")
def take_marks(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """The marks that readings show."""

    def do(here: Here) -> str:
        return f"Marks taken from the readings: {marks.take(session, person, slug, number, here.now)}."

    return _step(request, session, person, (slug, number, "marks"), form, do)


@router.post("/{number}/cooler")
def make_cooler(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Its heater test becomes the cooler's next version."""

    def do(here: Here) -> str:
        version = reference.make_cooler(session, person, slug, number, here.now)
        return f"Cooler version {version.number} entered from this cooldown."

    return _step(request, session, person, (slug, number, "cooler"), form, do)


@router.post("/{number}/warming")
def warm(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Warming began."""

    def do(here: Here) -> str:
        service.warm(session, person, slug, number, forms.warming(form, here), here.now)
        return "Warming is written down."

    return _step(request, session, person, (slug, number, "warming"), form, do)


@router.post("/{number}/end")
def end(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """It is over."""

    def do(here: Here) -> str:
        faults: dict[str, str] = {}
        at: datetime | None = forms.moment(form, "at", here, faults)
        if faults:
            raise Refused("The end was not written down.", faults)
        service.end(session, person, slug, number, form.text("state"), at, form.text("note"), here.now)
        return f"Cooldown {number} is over."

    return _step(request, session, person, (slug, number, "end"), form, do)
