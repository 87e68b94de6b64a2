"""Pages of drafts: drawn in the same form as a change, shown, agreed to, built."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlmodel import Session

from server.cryostats import change_form, contents, draft_steps, draft_views, drafts, forms, guards
from server.cryostats.change_form import InHand
from server.cryostats.draft_models import DraftVersion
from server.cryostats.draft_steps import Ask, Said
from server.cryostats.draft_views import Drawing, Trouble
from server.cryostats.drafts import Drawn, Sheet
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE, Put
from server.db import ReadSession, WriteSession, now, read_session, write_session
from server.errors import Conflict, Refused
from server.materials import service as materials
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import WHOLE, Form, SentForm
from server.web.render import done, render, wants_part

router = APIRouter()
Number = Annotated[int | None, Query(ge=0, le=2**31 - 1)]


def session_for(request: Request, form: SentForm) -> Iterator[Session]:
    """A write session to store, a read session for everything before."""
    yield from write_session(request) if form.text("do") == "store" else read_session(request)


FormSession = Annotated[Session, Depends(session_for, scope="function")]


@router.get("/cryostats/{slug}/drafts")
def index(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The drafts of a cryostat."""
    view = draft_views.index(session, person, guards.find(session, slug))
    return render(request, "cryostats/drafts.html", view)


@router.get("/cryostats/{slug}/drafts/new")
def begin(
    request: Request,
    slug: str,
    person: CurrentPerson,
    session: ReadSession,
    base: Annotated[int | None, Query(alias="from", ge=0, le=2**31 - 1)] = None,
    house: bool = False,
    like: Number = None,
) -> Response:
    """A fresh draft from any revision; `like` begins it with what another draft holds."""
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPERATE)
    in_hand = InHand(cryostat.revision if base is None else min(base, cryostat.revision), typing=True)
    if like:
        in_hand = _held(drafts.find(session, like), in_hand)
    drawing = Drawing("", (), house and person.steward, 0)
    return _page(Desk(request, session, person, cryostat, None), in_hand, drawing)


def _held(sheet: Sheet, in_hand: InHand) -> InHand:
    change = sheet.change
    return replace(in_hand, base_revision=change.base_revision, put=change.put, remove=change.remove)


@router.post("/cryostats/{slug}/drafts")
def make(
    request: Request, slug: str, person: CurrentPerson, session: FormSession, form: SentForm
) -> Response:
    """A step in drawing a new draft; only `store` stores it."""
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPERATE)
    return _step(Desk(request, session, person, cryostat, None), form)


@router.get("/drafts/{number}")
def show(
    request: Request, number: int, person: CurrentPerson, session: ReadSession, version: Number = None
) -> Response:
    """A draft, or one version of it."""
    return _show(request, session, person, drafts.find(session, number), version)


@router.get("/drafts/{number}/change")
def alter(
    request: Request,
    number: int,
    person: CurrentPerson,
    session: ReadSession,
    alter: str = "",
    kind: str = "",
) -> Response:
    """The draft in the form of a change; `alter` opens an element, `kind` begins a new one."""
    sheet = drafts.find(session, number)
    drafts.need_hand(session, person, sheet)
    in_hand = _held(sheet, InHand(0, reason=sheet.version.reason, typing=True))
    ground = contents.elements(session, sheet.cryostat, in_hand.base_revision)
    if alter:
        in_hand = change_form.stepped("alter", alter, in_hand, sheet.cryostat, ground)
    elif forms.known(kind):
        in_hand = change_form.beginning(in_hand, kind, sheet.cryostat)
    parties = tuple(str(key) for key in drafts.party_keys(sheet))
    drawing = Drawing(sheet.draft.name, parties, sheet.draft.house, sheet.draft.version)
    return _page(Desk(request, session, person, sheet.cryostat, sheet), in_hand, drawing)


@router.post("/drafts/{number}")
def store(
    request: Request, number: int, person: CurrentPerson, session: FormSession, form: SentForm
) -> Response:
    """A step in altering a draft; only `store` makes the next version."""
    sheet = drafts.find(session, number)
    drafts.need_hand(session, person, sheet)
    return _step(Desk(request, session, person, sheet.cryostat, sheet), form)


@dataclass(frozen=True)
class Desk:
    """Who draws which draft of which cryostat; `sheet` is None for a new one."""

    request: Request
    session: Session
    person: Person
    cryostat: Cryostat
    sheet: Sheet | None


def _step(desk: Desk, form: Form) -> Response:
    in_hand = change_form.read(form, desk.request.state.laboratory.zone)
    house = desk.sheet.draft.house if desk.sheet else form.has("house_draft") and desk.person.steward
    drawing = Drawing(form.text("name"), tuple(form.all("parties")), house, form.whole("after") or 0)
    do, _, what = form.text("do").partition(":")
    if do == "store":
        return _store(desk, in_hand, drawing)
    if do == "preview":
        return _page(desk, in_hand, drawing, preview=True)
    own, ground = materials.in_force(desk.session), _ground(desk, in_hand)
    after = change_form.stepped(do, what, replace(in_hand, typing=True), desk.cryostat, ground, own)
    return _page(desk, after, drawing)


def _ground(desk: Desk, in_hand: InHand) -> Mapping[str, Put]:
    base = min(in_hand.base_revision, desk.cryostat.revision)
    return contents.elements(desk.session, desk.cryostat, base)


def _store(desk: Desk, in_hand: InHand, drawing: Drawing) -> Response:
    full, put = change_form.with_editor_put(in_hand, desk.cryostat, _ground(desk, in_hand))
    keys = tuple(int(key) if WHOLE.fullmatch(key) else 0 for key in drawing.parties)
    drawn = Drawn(drawing.name, change_form.change_of(full), keys, drawing.house)
    try:
        made = _stored(desk, drawn, drawing.after, full.faults)
    except Refused as refused:
        desk.session.rollback()
        faults = {change_form.field_of(name, full, put): text for name, text in refused.fields.items()}
        return _page(desk, replace(in_hand, faults=faults), drawing, status=422)
    except Conflict as conflict:
        if not isinstance(conflict.current, DraftVersion):
            raise
        ahead = replace(drawing, after=conflict.current.number)
        return _page(desk, in_hand, ahead, status=409, stale=conflict.current)
    line = f"Version {made.version.number} of {made.draft.name} stored, with its budget."
    return done(desk.request, f"/drafts/{made.draft.id}", line)


def _stored(desk: Desk, drawn: Drawn, after: int, faults: Mapping[str, str]) -> Sheet:
    if desk.sheet is None or desk.sheet.draft.id is None:
        return drafts.make(desk.session, desk.person, desk.cryostat.slug, drawn, now(), faults)
    return drafts.alter(desk.session, desk.person, desk.sheet.draft.id, drawn, after, now(), faults)


def _page(
    desk: Desk,
    in_hand: InHand,
    drawing: Drawing,
    *,
    preview: bool = False,
    status: int = 200,
    stale: DraftVersion | None = None,
) -> Response:
    view, around = draft_views.draw(
        desk.session, desk.person, desk.cryostat, in_hand, drawing, desk.sheet, stale
    )
    bad = status if status != 200 else 422 if view.faults else 200
    part = "preview" if preview and wants_part(desk.request) else None
    page = "cryostats/draft_change.html"
    return render(desk.request, page, view, block=part, status=bad, around=around)


@router.post("/drafts/{number}/steps")
def step(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Ask, say yes, approve, send back, withdraw."""
    what = form.text("what")
    try:
        said = _said(form)
        made = draft_steps.take(session, person, number, what, form.whole("version") or 0, said, now())
    except Refused as refused:
        session.rollback()
        mark = what.replace(" ", "-")
        faults = {f"{name}.{mark}": words for name, words in refused.fields.items()}
        typed = {f"{name}.{mark}": form.text(name) for name in SAID}
        trouble = Trouble(faults, typed)
        return _show(request, session, person, drafts.find(session, number), None, trouble, 422)
    return done(request, f"/drafts/{number}", f"{made.draft.name} is {made.standing.words}.")


SAID = ("note", "build_on", "freeze_on", "override")


def _said(form: Form) -> Said:
    """What stands in the form of a step; Refused with a day that is none."""
    days: dict[str, date | None] = {"build_on": None, "freeze_on": None}
    faults = {}
    for name in days:
        try:
            days[name] = date.fromisoformat(form.text(name)) if form.text(name) else None
        except ValueError:
            faults[name] = "Enter a day such as 2026-03-14"
    if faults:
        raise Refused("The step was not made.", faults)
    return Said(form.text("note"), **days, override=form.text("override"))


@router.post("/drafts/{number}/build")
def build(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Make the draft a change on what is inside now."""
    try:
        ask = _ask(form, request.state.laboratory.zone)
        logged = draft_steps.build(session, person, number, ask, now())
    except (Refused, Conflict) as problem:
        session.rollback()
        typed = {name: form.text(name) for name in ("reason", "done_at")}
        typed |= {f"choice.{key}": choice for key, choice in form.under("choice.").items()}
        faults = {name.replace("choices.", "choice."): text for name, text in problem.fields.items()}
        trouble = Trouble(faults, typed, problem.message)
        return _show(request, session, person, drafts.find(session, number), None, trouble, problem.status)
    line = f"Built as revision {logged.revision.number}: {logged.difference.words}."
    return done(request, f"/cryostats/{drafts.find(session, number).cryostat.slug}", line)


def _ask(form: Form, zone: str) -> Ask:
    base = form.whole("base_revision")
    return Ask(
        version=form.whole("version") or 0,
        base_revision=-1 if base is None else base,
        choices={key: choice for key, choice in form.under("choice.").items() if choice},
        reason=form.text("reason"),
        done_at=form.moment("done_at", zone),
    )


def _show(
    request: Request,
    session: Session,
    person: Person,
    sheet: Sheet,
    version: int | None,
    trouble: Trouble | None = None,
    status: int = 200,
) -> Response:
    number = sheet.draft.version if version is None else version
    view = draft_views.show(session, person, sheet, number, trouble)
    return render(request, "cryostats/draft.html", view, status=status)
