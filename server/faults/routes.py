"""Pages of the faults: lists, reporting, one fault with its steps and photographs."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlmodel import Session

from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.photographs import MOST_AT_ONCE, Picture
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.faults import pictures, service, views
from server.faults.models import Fault
from server.faults.rules import Step, Where
from server.files.pictures import clean
from server.files.uploads import SentUpload
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter()
INDEX, PAGE, FORM = "faults/index.html", "faults/fault.html", "faults/report.html"
Number = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@dataclass(frozen=True)
class Prepared:
    """A form whose files were looked into."""

    caption: str
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
    faults = {"files": " ".join(wrong)} if wrong else {}
    return Prepared(sent.form.text("caption"), tuple(found), faults)


@router.get("/faults")
def index(
    request: Request, _person: CurrentPerson, session: ReadSession, show: str = "open", before: Number = None
) -> Response:
    """Faults of everything, open ones first of all."""
    return render(request, INDEX, views.page(session, None, "all" if show == "all" else "open", before))


@router.get("/cryostats/{slug}/faults")
def of_cryostat(
    request: Request,
    slug: str,
    _person: CurrentPerson,
    session: ReadSession,
    show: str = "open",
    before: Number = None,
) -> Response:
    """Faults of one cryostat."""
    cryostat = guards.find(session, slug)
    return render(request, INDEX, views.page(session, cryostat, "all" if show == "all" else "open", before))


@router.get("/cryostats/{slug}/faults/part")
def part(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """What is open on one cryostat: a part for its page, or the way to the list."""
    cryostat = guards.find(session, slug)
    if not wants_part(request):
        return Response(status_code=303, headers={"Location": f"/cryostats/{slug}/faults"})
    return render(request, "faults/_open.html", views.part(session, cryostat))


@router.get("/faults/new")
def new(
    request: Request,
    _person: CurrentPerson,
    session: ReadSession,
    cryostat: str = "",
    element: str = "",
    part: str = "",
) -> Response:
    """The form of a report."""
    typed = {"element": element, "part": part}
    return render(request, FORM, views.form(session, _cryostat(session, cryostat), typed))


def _cryostat(session: Session, slug: str) -> Cryostat | None:
    return guards.find(session, slug) if slug else None


@router.post("/faults")
def report(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Report what was seen."""
    cryostat = _cryostat(session, form.text("cryostat"))
    try:
        fault = _report(session, person, cryostat, form, request.state.laboratory.zone)
    except Refused as refused:
        session.rollback()
        view = views.form(session, _cryostat(session, form.text("cryostat")), form.under(""), refused.fields)
        return render(request, FORM, view, status=422)
    return done(
        request, service.address(fault), f"Fault {fault.id} is in the book. Thank you for writing it."
    )


def _report(session: Session, person: Person, cryostat: Cryostat | None, form: Form, zone: str) -> Fault:
    faults: dict[str, str] = {}
    seen_at = None
    try:
        seen_at = form.moment("seen_at", zone)
    except Refused as refused:
        faults |= refused.fields
    where = Where(form.text("place"), form.text("part"), form.text("element"), seen_at)
    cryostat_id = cryostat.id if cryostat else None
    words, severity = form.text("what_seen"), form.text("severity")
    return service.report(session, person, cryostat_id, words, where, now(), severity, faults)


@router.get("/faults/{number}")
def show(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One fault."""
    return render(request, PAGE, views.one(session, person, number))


@router.post("/faults/{number}/entries")
def add(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A step of a fault."""
    owner = form.text("owner") if form.has("owner") and form.text("owner") != "-" else None
    step = Step(form.text("text"), form.text("state"), form.text("cause"), owner)
    try:
        service.add(session, person, number, step, now())
    except Refused as refused:
        session.rollback()
        view = views.one(session, person, number, form.under(""), refused.fields)
        return render(request, PAGE, view, status=422)
    return done(request, f"/faults/{number}", "Written down.")


@router.post("/faults/{number}/photographs")
def photograph(
    request: Request,
    number: int,
    person: CurrentPerson,
    sent: Annotated[Prepared, Depends(prepared)],
    session: WriteSession,
) -> Response:
    """Photographs of a fault: all of the form, or nothing."""
    home: Path = request.app.state.settings.home
    try:
        rows = pictures.add(session, person, number, sent.caption, sent.pictures, home, now(), sent.faults)
    except Refused as refused:
        session.rollback()
        view = views.one(session, person, number, {"caption": sent.caption}, refused.fields)
        return render(request, PAGE, view, status=422)
    return done(request, f"/faults/{number}", f"{len(rows)} kept with fault {number}.")
