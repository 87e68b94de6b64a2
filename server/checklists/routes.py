"""Pages of checklists: those of a cryostat, going through one, its sheet of paper."""

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.checklists import records, service, views
from server.checklists.service import Said
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter()
INDEX, SHEET, PAPER = "checklists/index.html", "checklists/sheet.html", "checklists/paper.html"
LINE, PART = "checklists/_answered.html", "checklists/_part.html"


@router.get("/cryostats/{slug}/checklists")
def index(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The five lists of a cryostat, and what was gone through."""
    return render(request, INDEX, views.index(session, person, guards.find(session, slug)))


@router.post("/cryostats/{slug}/checklists")
def start(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Begin one."""
    cryostat = guards.find(session, slug)
    try:
        found = service.start(session, person, cryostat, form.text("list"), form.text("about"), now())
    except Refused as refused:
        session.rollback()
        view = views.index(session, person, guards.find(session, slug), form.under(""), refused.fields)
        return render(request, INDEX, view, status=422)
    return done(request, service.address(found), "Begun. Each line is kept as soon as it is answered.")


@router.get("/cryostats/{slug}/checklists/{list_key}/paper")
def blank(
    request: Request, slug: str, list_key: str, _person: CurrentPerson, session: ReadSession
) -> Response:
    """A list on paper, with boxes, with what is inside now."""
    return render(request, PAPER, views.paper(session, guards.find(session, slug), list_key))


@router.get("/checklists/{number}")
def show(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One checklist."""
    return render(request, SHEET, views.sheet(session, person, service.find(session, number)))


@router.get("/checklists/{number}/paper")
def paper(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One checklist on paper, with what was answered so far."""
    return render(request, PAPER, views.sheet(session, person, service.find(session, number)))


@router.get("/checklists/{number}/part")
def part(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """Where one stands: a part of another page, or the way to its own."""
    found = service.find(session, number)
    if not wants_part(request):
        return Response(status_code=303, headers={"Location": service.address(found)})
    return render(request, PART, views.sheet(session, person, found))


@router.post("/checklists/{number}/answers")
def answer(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Answer one line: kept at once, whatever the others are."""
    key = form.text("line")
    try:
        _answer(session, person, number, form)
    except Refused as refused:
        session.rollback()
        return _shown(request, session, person, number, key, refused.fields, form)
    if not wants_part(request):
        place = _number(session, number, key)
        return done(request, f"/checklists/{number}#line-{place}", f"Line {place} is kept.")
    return _shown(request, session, person, number, key)


def _answer(session: Session, person: Person, number: int, form: Form) -> None:
    line = service.find_line(service.find(session, number), form.text("line"))
    outcome = form.text("outcome")
    record, faults = records.read(line, form.under(""), outcome)
    said = Said(outcome, record, form.text("words"))
    service.answer(session, person, number, line.key, said, now(), faults)


def _number(session: Session, number: int, key: str) -> int:
    """The place of a line on its sheet."""
    lines = service.lines_of(service.find(session, number))
    return next(place for place, line in enumerate(lines, 1) if line.key == key)


def _shown(
    request: Request,
    session: Session,
    person: Person,
    number: int,
    key: str,
    faults: dict[str, str] | None = None,
    form: Form | None = None,
) -> Response:
    """The line alone for htmx, else the whole sheet; with what is to be mended at its place."""
    typed = form.under("") if form else {}
    view = views.sheet(session, person, service.find(session, number), key, typed, faults)
    status = 422 if faults else 200
    if not wants_part(request):
        return render(request, SHEET, view, status=status)
    row = next(row for row in view.lines if row.line.key == key)
    return render(request, LINE, view, status=status, row=row)
