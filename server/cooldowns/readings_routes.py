"""The pages of readings: what is known now, log files sent and taken in, silences reported."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from server.cooldowns import readings_files, readings_silence, readings_views
from server.cooldowns.log_files import Spec
from server.cooldowns.readings_files import NotTaken
from server.cryostats import guards
from server.cryostats.rules import OPERATE
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.faults import service as faults
from server.files.uploads import SentUpload
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter(prefix="/cryostats/{slug}/readings")
PAGE, FILE = "cooldowns/readings.html", "cooldowns/readings_file.html"
MOST_COLUMNS = 400
Rows = Annotated[int, Query(ge=0, le=2**31 - 1)]


@router.get("")
def show(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """What is known of every channel now."""
    cryostat = guards.find(session, slug)
    part = wants_part(request)
    view = readings_views.page(session, person, cryostat, now())
    return render(request, PAGE, view, block="now" if part else None)


@router.post("/silences")
def silences(request: Request, slug: str, person: CurrentPerson, session: WriteSession) -> Response:
    """Report the silences that are new."""
    cryostat = guards.find(session, slug)
    fault = readings_silence.report_new(session, person, cryostat, now())
    if wants_part(request):
        view = readings_views.page(session, person, cryostat, now())
        return render(request, PAGE, view, block="now")
    line = "No silence is new." if fault is None else "The silence is written down as a fault."
    return done(request, f"/cryostats/{slug}/readings" if fault is None else faults.address(fault), line)


@router.post("/files")
def send(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, sent: SentUpload
) -> Response:
    """Keep a log file, and go on to how it is read."""
    cryostat = guards.find(session, slug)
    files = sent.under("file")
    content = files[0].content if files else sent.form.text("text").encode(errors="replace")
    name = files[0].name if files else ""
    home = request.app.state.settings.home
    try:
        row = readings_files.send(session, home, person, cryostat, name, content, now())
    except NotTaken as refused:
        session.rollback()
        cryostat = guards.find(session, slug)
        view = readings_views.page(session, person, cryostat, now(), refused.fields, refused.faults)
        return render(request, PAGE, view, status=422)
    return done(request, f"/cryostats/{slug}/readings/files/{row.id}", "Sent. Nothing is taken in yet.")


@router.get("/files/{number}")
def show_file(
    request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession
) -> Response:
    """One log file: how it is read and what it would bring, or how far it has been taken in."""
    return _file(request, session, person, slug, number)


@router.post("/files/{number}")
def describe(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """How the file is to be read; with `do=take` it is then taken in."""
    cryostat = guards.find(session, slug)
    zone, home = request.state.laboratory.zone, request.app.state.settings.home
    spec, wrong = _spec(form, zone)
    readings_files.describe(session, person, cryostat, number, spec)
    if wrong or form.text("do") != "take":
        return _file(request, session, person, slug, number, wrong, 422 if wrong else 200)
    try:
        readings_files.take(session, home, person, cryostat, number, form.text("superseding"), zone, now())
    except Refused as refused:
        session.rollback()
        # Nothing was taken in; how the person described the file stays.
        readings_files.describe(session, person, guards.find(session, slug), number, spec)
        return _file(request, session, person, slug, number, _said(refused), 422)
    return done(request, f"/cryostats/{slug}/readings/files/{number}", "The file is being taken in.")


def _said(refused: Refused) -> dict[str, str]:
    if isinstance(refused, NotTaken):
        return refused.fields
    return {"file": "; ".join(f"{name}: {text}" for name, text in refused.fields.items()) or refused.message}


@router.post("/files/{number}/step")
def step(
    request: Request, slug: str, number: int, person: CurrentPerson, session: WriteSession, after: Rows
) -> Response:
    """The next rows of a file that is being taken in."""
    cryostat = guards.find(session, slug)
    zone, home = request.state.laboratory.zone, request.app.state.settings.home
    readings_files.step(session, home, person, cryostat, number, after, zone, now())
    if wants_part(request):
        return _file(request, session, person, slug, number, block="progress")
    return done(request, f"/cryostats/{slug}/readings/files/{number}", "The next lines are stored.")


def _spec(form: Form, zone: str) -> tuple[Spec, dict[str, str]]:
    """What the form says of the columns and times; and what is wrong with the start."""
    roles, units = form.under("column."), form.under("unit.")
    numbers = range(min(MOST_COLUMNS, len(roles)))
    start, faults_of_start = "", {}
    try:
        moment = form.moment("start", zone)
        start = moment.isoformat() if moment else ""
    except Refused as refused:
        faults_of_start = refused.fields
    spec = Spec(
        roles=tuple(roles.get(str(number), "") for number in numbers),
        units=tuple(units.get(str(number), "")[:20] for number in numbers),
        zone="utc" if form.text("zone") == "utc" else "laboratory",
        order=form.text("order") if form.text("order") in ("day", "month") else "",
        start=start,
    )
    return spec, dict(faults_of_start)


def _file(
    request: Request,
    session: Session,
    person: Person,
    slug: str,
    number: int,
    fields: dict[str, str] | None = None,
    status: int = 200,
    block: str | None = None,
) -> Response:
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPERATE)
    upload = readings_files.find(session, cryostat, number)
    zone, home = request.state.laboratory.zone, request.app.state.settings.home
    view = readings_views.file(session, home, person, cryostat, upload, zone, now(), fields)
    return render(request, FILE, view, status=status, block=block)
