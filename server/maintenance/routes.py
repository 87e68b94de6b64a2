"""Pages of maintenance: what is due, one task with its events, done, put off, held for, back in service."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import AwareDatetime
from sqlmodel import Session

from server.cryostats import guards
from server.cryostats.photographs import MOST_AT_ONCE, Picture
from server.cryostats.rules import STEWARD
from server.db import ReadSession, WriteSession, now
from server.errors import Problem, Refused
from server.files.pictures import clean
from server.files.uploads import SentUpload
from server.maintenance import forms, pictures, service, starter, tasks, views
from server.maintenance.service import Deferral, Stretch
from server.maintenance.tasks import Wanted
from server.maintenance.views import Answered
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done as finished
from server.web.render import render, wants_part

router = APIRouter()
INDEX, PAGE, FORM = "maintenance/index.html", "maintenance/task.html", "maintenance/new.html"
FALLING = "maintenance/falling_due.html"
ONE = "/cryostats/{slug}/maintenance/{number}"


def _at(request: Request) -> tuple[datetime, str]:
    return now(), request.state.laboratory.zone


@router.get("/maintenance")
def index(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """What is due, of everything."""
    return render(request, INDEX, views.index(session, person, None, _at(request)))


@router.get("/cryostats/{slug}/maintenance")
def of_cryostat(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """What is due on one cryostat."""
    cryostat = guards.find(session, slug)
    return render(request, INDEX, views.index(session, person, cryostat, _at(request)))


@router.post("/cryostats/{slug}/maintenance/starter")
def lay_out(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Lay out tasks of the first set."""
    try:
        rows = starter.lay_out(session, person, slug, form.all("keys"), now())
    except Refused as refused:
        session.rollback()
        view = views.index(session, person, guards.find(session, slug), _at(request), refused.fields)
        return render(request, INDEX, view, status=422)
    line = f"{len(rows)} laid out. Put in the intervals of your own sheets, and when each was last done."
    return finished(request, f"/cryostats/{slug}/maintenance", line)


@router.get("/cryostats/{slug}/maintenance/new")
def new(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The form of a task."""
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, STEWARD)
    return render(request, FORM, views.form(session, cryostat, {}))


@router.get("/cryostats/{slug}/maintenance/falling-due")
def falling_due(
    request: Request,
    slug: str,
    _person: CurrentPerson,
    session: ReadSession,
    starts: Annotated[AwareDatetime, Query(alias="from")],
    ends: Annotated[AwareDatetime, Query(alias="until")],
) -> Response:
    """What may fall due inside a stretch, such as slots somebody looks at: a part of a page, or a page."""
    cryostat = guards.find(session, slug)
    view = views.falling_due(session, cryostat, starts, ends, now())
    return render(request, FALLING, view, block="part" if wants_part(request) else None)


@router.post("/cryostats/{slug}/maintenance")
def make(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Lay out a task."""
    faults: dict[str, str] = {}
    wanted = _wanted(form, request.state.laboratory.zone, faults)
    try:
        row = tasks.make(session, person, slug, wanted, now(), faults)
    except Refused as refused:
        session.rollback()
        cryostat = guards.find(session, slug)
        view = views.form(session, cryostat, form.under(""), form.all("cautions"), refused.fields)
        return render(request, FORM, view, status=422)
    return finished(request, f"/cryostats/{slug}/maintenance/{row.id}", "The task is in the book.")


def _wanted(form: Form, zone: str, faults: dict[str, str]) -> Wanted:
    limits, stood = forms.limits(form, faults)
    lead = forms.read("lead_days", lambda: form.whole("lead_days"), faults)
    return Wanted(
        name=form.text("name"),
        kind=form.text("kind"),
        text=form.text("text"),
        who=form.text("who"),
        limits=limits,
        condition=form.text("condition"),
        stood=stood,
        last_done=forms.read("last_done", lambda: form.moment("last_done", zone), faults),
        parts=[{"item": key, "amount": much} for key, much in forms.amounts(form, "parts", faults).items()],
        lead_days=lead or 0,
        down_h=forms.number(form, "down_h", faults) or 0.0,
        stops_work=form.has("stops_work"),
        cautions=form.all("cautions"),
        return_stage=form.text("return_stage"),
        return_K=forms.number(form, "return_K", faults),
        return_within_K=forms.number(form, "return_within_K", faults),
        return_name=form.text("return_name"),
    )


@router.get(ONE)
def show(request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One task."""
    return render(request, PAGE, views.one(session, person, slug, number, _at(request)))


@dataclass(frozen=True)
class Step:
    """Whose step it is, on which task."""

    request: Request
    session: Session
    person: Person
    slug: str
    number: int
    form: Form

    @property
    def zone(self) -> str:
        """The zone of the laboratory."""
        return str(self.request.state.laboratory.zone)


def _step(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Step:
    return Step(request, session, person, slug, number, form)


ThisStep = Annotated[Step, Depends(_step)]


def _ended(step: Step, work: Callable[[dict[str, str]], object], line: str) -> Response:
    """The two endings of a step: on to the task, or its page again with what is to be mended."""
    try:
        work({})
    except Problem as problem:
        if not isinstance(problem, Refused):
            raise
        return _again(step, problem.fields)
    return finished(step.request, f"/cryostats/{step.slug}/maintenance/{step.number}", line)


def _again(step: Step, faults: Mapping[str, str]) -> Response:
    step.session.rollback()
    answered = Answered(step.form.under(""), step.form.all("resets"), faults)
    view = views.one(step.session, step.person, step.slug, step.number, _at(step.request), answered)
    return render(step.request, PAGE, view, status=422)


@router.post(ONE + "/events")
def done(step: ThisStep) -> Response:
    """It was done."""

    def work(faults: dict[str, str]) -> None:
        event = forms.done(step.form, step.zone, now(), faults)
        service.done(step.session, step.person, step.slug, step.number, event, now(), faults)

    return _ended(step, work, "Written down. Only the clocks that were ticked begin anew.")


@router.post(ONE + "/seen")
def seen(step: ThisStep) -> Response:
    """What makes it due was seen."""
    words = step.form.text("words")
    return _ended(
        step,
        lambda _: service.seen(step.session, step.person, step.slug, step.number, words, now()),
        "Written down: it is due.",
    )


@router.post(ONE + "/deferrals")
def defer(step: ThisStep) -> Response:
    """It is put off."""

    def work(faults: dict[str, str]) -> None:
        trigger = step.form.text("trigger")
        limit = forms.limit(step.form, trigger, step.zone, faults)
        times = forms.read("times", lambda: step.form.whole("times"), faults) or 0
        wish = Deferral(trigger, limit, step.form.text("reason"), times)
        service.defer(step.session, step.person, step.slug, step.number, wish, now(), faults)

    return _ended(step, work, "Put off, with your name and the reason.")


@router.post(ONE + "/return")
def returned(step: ThisStep) -> Response:
    """A measurement brings the cryostat back."""

    def work(faults: dict[str, str]) -> None:
        cooldown = forms.read("cooldown", lambda: step.form.whole("cooldown"), faults)
        if cooldown is None:
            raise Refused("Nothing was stored.", faults or {"cooldown": "Enter the number of the cooldown"})
        service.returned(step.session, step.person, step.slug, step.number, cooldown, now())

    return _ended(step, work, "Back in service, by its measurement.")


@router.post(ONE + "/holds")
def hold(step: ThisStep) -> Response:
    """Nobody uses the cryostat while it is done."""

    def work(faults: dict[str, str]) -> None:
        starts = forms.read("starts", lambda: step.form.moment("starts", step.zone), faults)
        ends = forms.read("ends", lambda: step.form.moment("ends", step.zone), faults)
        if starts is None or ends is None:
            raise Refused(
                "Nothing was held.", faults or {"starts": "Enter when it begins and when it may end"}
            )
        span = Stretch(starts, ends, step.form.has("soft"))
        service.hold(step.session, step.person, step.slug, step.number, span, now())

    return _ended(step, work, "Held. It ends with its condition, not on its date.")


@router.post(ONE + "/retirement")
def retire(step: ThisStep) -> Response:
    """Off the list."""
    tasks.retire(step.session, step.person, step.slug, step.number, now())
    return finished(step.request, f"/cryostats/{step.slug}/maintenance", "Off the list; what was done stays.")


@dataclass(frozen=True)
class Prepared:
    """A form whose files were looked into."""

    form: Form
    pictures: tuple[Picture, ...]
    faults: Mapping[str, str]


def prepared(_person: CurrentPerson, sent: SentUpload) -> Prepared:
    """Decode what was sent before the write session opens: while it is open nobody else can write."""
    found, wrong = [], []
    for upload in sent.under("files")[: MOST_AT_ONCE + 1]:
        try:
            found.append(Picture(upload.name, clean(upload.content)))
        except Refused as refused:
            wrong.append(f"{upload.name or 'The file'}: {refused.message}")
    return Prepared(sent.form, tuple(found), {"files": " ".join(wrong)} if wrong else {})


@router.post(ONE + "/photographs")
def photograph(
    request: Request,
    slug: str,
    number: int,
    person: CurrentPerson,
    sent: Annotated[Prepared, Depends(prepared)],
    session: WriteSession,
) -> Response:
    """Photographs of a label, a certificate, a worn part."""
    home: Path = request.app.state.settings.home
    step = Step(request, session, person, slug, number, sent.form)
    caption, place = sent.form.text("caption"), (slug, number)
    return _ended(
        step,
        lambda _: pictures.add(session, person, place, caption, sent.pictures, home, now(), sent.faults),
        "Kept with the task.",
    )
