"""Pages of openings: those of a cryostat, one slip step by step, its sheet of paper."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlmodel import Session

from server.cryostats import guards
from server.cryostats.photographs import Picture, decoded
from server.db import ReadSession, WriteSession, now
from server.errors import NotFound, Refused
from server.files.uploads import SentUpload
from server.openings import finding, forms, kinds, pictures, service, views
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter(prefix="/cryostats/{slug}/openings")
INDEX, SLIP, PAPER, PART = (
    "openings/index.html",
    "openings/slip.html",
    "openings/paper.html",
    "openings/_part.html",
)
SEALS, BACK, PICTURE = "seals", "take-back", "photographs"
Number = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


@dataclass(frozen=True)
class Prepared:
    """A form whose files were looked into."""

    form: Form
    pictures: tuple[Picture, ...]
    wrong: str


def prepared(_person: CurrentPerson, sent: SentUpload) -> Prepared:
    """Decode what was sent before the write session opens: while it is open nobody else can write."""
    found, wrong = decoded([(row.name, row.content) for row in sent.under("files")], documents=True)
    return Prepared(sent.form, found, wrong)


@router.get("")
def index(
    request: Request, slug: str, person: CurrentPerson, session: ReadSession, before: Number = None
) -> Response:
    """The openings of a cryostat."""
    return render(request, INDEX, views.index(session, person, guards.find(session, slug), before))


@router.post("")
def start(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Begin a slip."""
    try:
        draft = form.whole("draft")
        found = service.start(session, person, guards.find(session, slug), form.text("why"), now(), draft)
    except Refused as refused:
        session.rollback()
        view = views.index(session, person, guards.find(session, slug), None, form.under(""), refused.fields)
        return render(request, INDEX, view, status=422)
    return done(request, finding.address(found.cryostat, found.opening), "The slip is begun.")


@router.get("/part")
def part(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """The slip that is open: a part of the cryostat's page, or the way to the list."""
    cryostat = guards.find(session, slug)
    if not wants_part(request):
        return Response(status_code=303, headers={"Location": f"/cryostats/{slug}/openings"})
    return render(request, PART, views.part(session, cryostat))


@router.get("/{number}")
def show(request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One slip."""
    return render(request, SLIP, views.slip(session, person, guards.find(session, slug), number, now()))


@router.get("/{number}/paper")
def paper(request: Request, slug: str, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One slip on one sheet of paper."""
    return render(request, PAPER, views.slip(session, person, guards.find(session, slug), number, now()))


@router.post("/{number}/steps/{kind}")
def step(
    request: Request,
    slug: str,
    number: int,
    kind: str,
    person: CurrentPerson,
    session: WriteSession,
    form: SentForm,
) -> Response:
    """A step, or an entry: kept at once, whatever the others are."""
    zone: str = request.state.laboratory.zone
    work = _ways(session, person, slug, number, kind, form, zone)
    try:
        work()
    except Refused as refused:
        session.rollback()
        return _again(request, session, person, slug, number, kind, form, refused)
    return done(request, f"/cryostats/{slug}/openings/{number}#step-{kind}", "Written down.")


def _ways(
    session: Session, person: Person, slug: str, number: int, kind: str, form: Form, zone: str
) -> Callable[[], object]:
    if kind == SEALS:
        return lambda: _seals(session, person, slug, number, form)
    if kind == BACK:
        entry = form.text("entry")
        key = int(entry) if entry.isdecimal() and len(entry) < 10 else 0
        return lambda: service.take_back(session, person, slug, number, key, form.text("reason"), now())
    if kind not in kinds.KINDS:
        raise NotFound("There is no such step.")
    return lambda: service.enter(session, person, slug, number, forms.read(kind, form, zone), now())


def _seals(session: Session, person: Person, slug: str, number: int, form: Form) -> None:
    """Every ring and window that was touched, all of them or none."""
    rows = forms.seals(form)
    if not rows:
        raise Refused("Nothing was written down.", {"seals": "Say of one at least what was done"})
    for row, wish in rows:
        try:
            service.enter(session, person, slug, number, wish, now())
        except Refused as refused:
            wrong = {f"seal.{row}.{name}": text for name, text in refused.fields.items()}
            raise Refused(refused.message, wrong) from refused


def _again(
    request: Request,
    session: Session,
    person: Person,
    slug: str,
    number: int,
    kind: str,
    form: Form,
    refused: Refused,
) -> Response:
    """The slip with what was typed and what is to be mended."""
    faults = refused.fields or {"step": refused.message}
    cryostat = guards.find(session, slug)
    view = views.slip(session, person, cryostat, number, now(), kind, form.under(""), faults)
    return render(request, SLIP, view, status=422)


@router.post("/{number}/lists/{list_key}")
def begin_list(
    request: Request, slug: str, number: int, list_key: str, person: CurrentPerson, session: WriteSession
) -> Response:
    """Begin a checklist of this slip, or go on with it."""
    address = service.begin_list(session, person, slug, number, list_key, now())
    return done(request, address, "Each line is kept as soon as it is answered.")


@router.post("/{number}/photographs")
def photograph(
    request: Request,
    slug: str,
    number: int,
    person: CurrentPerson,
    sent: Annotated[Prepared, Depends(prepared)],
    session: WriteSession,
) -> Response:
    """Photographs and sketches: all of the form, or nothing."""
    home: Path = request.app.state.settings.home
    form = sent.form
    wish = pictures.Sent(form.text("shows"), form.text("caption"), sent.pictures, sent.wrong)
    try:
        rows = pictures.add(session, person, slug, number, wish, home, now())
    except Refused as refused:
        session.rollback()
        return _again(request, session, person, slug, number, PICTURE, sent.form, refused)
    address = f"/cryostats/{slug}/openings/{number}#step-{PICTURE}"
    return done(request, address, f"{len(rows)} kept with opening {number}.")
