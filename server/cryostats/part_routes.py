"""Pages of the parts with identity: the list, one part, entering, telling, lending, bringing back."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from server.cryostats import guards, part_photographs, part_views, parts
from server.cryostats.part_rules import KINDS, SHELF, STATES, Described, Lent, Told
from server.cryostats.photographs import Picture, decoded
from server.cryostats.rules import OPEN, REWIRE
from server.db import ReadSession, WriteSession, now, reading
from server.errors import Conflict, Refused
from server.files.uploads import SentUpload
from server.people.guards import CurrentPerson
from server.web.forms import Form, SentForm
from server.web.moments import today
from server.web.render import done, render

router = APIRouter()
PAGE, FORM = "cryostats/part.html", "cryostats/part_form.html"


def _day(form: Form, name: str, empty: date | None, faults: dict[str, str]) -> date:
    """A day as typed; `empty` when nothing is. What cannot be read is a fault."""
    text = form.text(name)
    try:
        return empty if not text and empty else date.fromisoformat(text)
    except ValueError:
        faults[name] = "Enter a day such as 2026-03-14"
        return date.min


def _sent(form: Form) -> dict[str, str]:
    return dict(form.under(""))


@router.get("/parts")
def index(
    request: Request, person: CurrentPerson, session: ReadSession, kind: str = "", state: str = ""
) -> Response:
    """Every part, and what is due back."""
    chosen = kind if kind in KINDS else "", state if state in STATES else ""
    view = part_views.page(session, person, chosen[0], chosen[1], today(request, now()))
    return render(request, "cryostats/parts.html", view)


@router.get("/parts/new")
def new(request: Request, person: CurrentPerson, session: ReadSession, kind: str = "loom") -> Response:
    """The form of a new part."""
    parts.need(session, person, REWIRE)
    return render(request, FORM, part_views.form(kind))


@router.post("/parts")
def enter(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """A new part."""
    at = now()
    said = _described(form, form.text("tag"))
    try:
        part = parts.enter(session, person, said, at, today(request, at))
    except (Refused, Conflict) as problem:
        session.rollback()
        faults = problem.fields or {"tag": problem.message}
        return render(request, FORM, part_views.form(said.kind, _sent(form), faults), status=problem.status)
    return done(request, f"/parts/{part.tag}", f"Part {part.tag} is in the book.")


def _described(form: Form, tag: str) -> Described:
    kind = form.text("kind")
    asked = KINDS[kind].asked if kind in KINDS else ()
    return Described(
        tag=tag,
        kind=kind,
        name=form.text("name"),
        serial=form.text("serial"),
        about={row.name: text for row in asked if (text := form.text(f"about.{row.name}"))},
        state=form.text("state") or SHELF,
        place=form.text("place"),
        note=form.text("note"),
    )


@router.get("/parts/{tag}")
def show(request: Request, tag: str, person: CurrentPerson, session: ReadSession) -> Response:
    """One part: what it is, where it has been, what happened to it."""
    return render(request, PAGE, part_views.one(session, person, tag, today(request, now())))


@dataclass(frozen=True)
class Prepared:
    """A form whose files were looked into: what may be kept, and what is wrong."""

    caption: str
    pictures: tuple[Picture, ...]
    wrong: str


def prepared(request: Request, tag: str, person: CurrentPerson, sent: SentUpload) -> Prepared:
    """Decode what was sent before the write session opens: while it is open nobody else can write."""
    with reading(request.app.state.engine) as session:
        parts.find(session, tag)
        parts.need(session, person, OPEN)
    uploads = [(upload.name, upload.content) for upload in sent.under("files")]
    pictures, wrong = decoded(uploads, documents=True)
    return Prepared(sent.form.text("caption"), pictures, wrong)


@router.post("/parts/{tag}/photographs")
def photograph(
    request: Request,
    tag: str,
    person: CurrentPerson,
    sent: Annotated[Prepared, Depends(prepared)],
    session: WriteSession,
) -> Response:
    """Put photographs or drawings of a part in: all of the form, or nothing."""
    home: Path = request.app.state.settings.home
    try:
        rows = part_photographs.add(
            session, person, tag, sent.caption, sent.pictures, home, now(), sent.wrong
        )
    except Refused as refused:
        form = Form([("caption", sent.caption)])
        return _again(request, session, person, tag, form, refused)
    counted = "1 picture" if len(rows) == 1 else f"{len(rows)} pictures"
    return done(request, f"/parts/{tag}", f"{counted} kept.")


@router.post("/parts/{tag}/photographs/{number}/withdraw")
def withdraw(
    request: Request, tag: str, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Mark one withdrawn, with the reason."""
    try:
        part_photographs.withdraw(session, person, tag, number, form.text("reason"), now())
    except Refused as refused:
        fields = {f"reason-{number}": text for text in refused.fields.values()}
        return _again(request, session, person, tag, form, Refused(refused.message, fields))
    return done(request, f"/parts/{tag}", "Withdrawn. It stays in the book and says so.")


@router.get("/parts/{tag}/description")
def description(request: Request, tag: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The form of another description."""
    parts.need(session, person, REWIRE)
    part = parts.find(session, tag)
    return render(request, FORM, part_views.form(part.kind, part=part))


@router.post("/parts/{tag}/description")
def describe(
    request: Request, tag: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Another description; what stood before stays in its history."""
    at = now()
    kind = parts.find(session, tag).kind
    asked = {row.name: form.text(f"about.{row.name}") for row in KINDS[kind].asked}
    about = {name: text for name, text in asked.items() if text}
    said = Described(tag, kind, form.text("name"), form.text("serial"), about, note=form.text("note"))
    try:
        parts.describe(session, person, said, at, today(request, at))
    except Refused as refused:
        session.rollback()
        part = parts.find(session, tag)
        view = part_views.form(kind, _sent(form), refused.fields, part)
        return render(request, FORM, view, status=422)
    return done(request, f"/parts/{tag}", f"Part {tag} is described anew; what stood before is kept.")


@router.post("/parts/{tag}/entries")
def tell(
    request: Request, tag: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Where it is, what state it is in, what a test gave."""
    at = now()
    day, faults = today(request, at), dict[str, str]()
    state, place = form.text("state"), form.text("place")
    on_day = _day(form, "on_day", day, faults)
    said = Told(on_day, state, place, form.text("test"), form.text("result"), form.text("note"))
    try:
        _refuse(faults)
        parts.tell(session, person, tag, said, at, day)
    except Refused as refused:
        return _again(request, session, person, tag, form, refused)
    return done(request, f"/parts/{tag}", "Written down.")


@router.post("/parts/{tag}/loans")
def lend(
    request: Request, tag: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """To another cryostat or another laboratory."""
    at = now()
    day, faults = today(request, at), dict[str, str]()
    days = _day(form, "lent_on", day, faults), _day(form, "due_on", None, faults)
    said = Lent(form.text("to_whom"), *days, form.text("to_cryostat"), form.text("loan_note"))
    try:
        _refuse(faults)
        loan = parts.lend(session, person, tag, said, at, day)
    except Refused as refused:
        return _again(request, session, person, tag, form, refused)
    return done(request, f"/parts/{tag}", f"Lent to {loan.to_whom}, due back {loan.due_on}.")


@router.post("/parts/{tag}/return")
def bring_back(
    request: Request, tag: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """It came back."""
    at = now()
    day, faults = today(request, at), dict[str, str]()
    on_day = _day(form, "on_day", day, faults)
    try:
        _refuse(faults)
        parts.bring_back(session, person, tag, on_day, form.text("place"), form.text("note"), at, day)
    except Refused as refused:
        return _again(request, session, person, tag, form, refused)
    return done(request, f"/parts/{tag}", "It is back.")


def _refuse(faults: dict[str, str]) -> None:
    if faults:
        raise Refused(parts.NOT_STORED, faults)


def _again(
    request: Request, session: WriteSession, person: CurrentPerson, tag: str, form: Form, refused: Refused
) -> Response:
    """The page again with what was typed and what is to be mended."""
    session.rollback()
    view = part_views.one(session, person, tag, today(request, now()), refused.fields, _sent(form))
    return render(request, PAGE, view, status=422)


@router.get("/cryostats/{slug}/parts")
def of_cryostat(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """The parts its elements are, and those that are lent to it."""
    view = part_views.of_cryostat(session, guards.find(session, slug), today(request, now()))
    return render(request, "cryostats/parts_inside.html", view)
