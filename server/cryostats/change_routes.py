"""The change page: one form, one address, before and at the moment a change is logged."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from sqlmodel import Session

from server.cryostats import beside_views, change_form, change_views, contents, forms, guards, service
from server.cryostats.change_form import InHand
from server.cryostats.change_views import Meanwhile
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, SHUTTERS, Change, needed_grade
from server.db import ReadSession, now, read_session, write_session
from server.errors import Conflict, Forbidden, Refused
from server.materials import service as materials
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import SentForm
from server.web.render import done, render, wants_part

router = APIRouter(prefix="/cryostats/{slug}")
PAGE = "cryostats/change.html"


def session_for(request: Request, form: SentForm) -> Iterator[Session]:
    """A write session to log, a read session for everything before: a preview never makes a writer wait."""
    yield from write_session(request) if form.text("do") == "log" else read_session(request)


FormSession = Annotated[Session, Depends(session_for, scope="function")]


@router.get("/change")
def begin(
    request: Request,
    slug: str,
    person: CurrentPerson,
    session: ReadSession,
    alter: str = "",
    take: str = "",
    kind: str = "",
) -> Response:
    """A fresh change; `alter` opens an element, `take` takes one out, `kind` begins a new one."""
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPEN)
    present = contents.elements(session, cryostat, cryostat.revision)
    in_hand = InHand(cryostat.revision)
    if take in present and present[take].kind in SHUTTERS:
        alter = take
    if alter in present:
        in_hand = change_form.editing(in_hand, present[alter])
    elif take in present:
        removal = Change("", cryostat.revision, remove=(take,))
        guards.need(session, person, cryostat, needed_grade(removal, present))
        in_hand = replace(in_hand, remove=(take,))
    elif forms.known(kind):
        in_hand = change_form.beginning(in_hand, kind, cryostat)
    return _page(request, session, person, cryostat, replace(in_hand, typing=True))


@router.post("/configuration")
def step(
    request: Request, slug: str, person: CurrentPerson, session: FormSession, form: SentForm
) -> Response:
    """Preview, put aside, open, leave out, or log: what `do` says. Only `log` stores anything."""
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPEN)
    in_hand = change_form.read(form, request.state.laboratory.zone)
    do, _, what = form.text("do").partition(":")
    if do == "log":
        return _log(request, session, person, cryostat, in_hand)
    if do == "preview":
        return _preview(request, session, person, cryostat, in_hand)
    present = contents.elements(session, cryostat, cryostat.revision)
    own = materials.in_force(session)
    after = change_form.stepped(do, what, replace(in_hand, typing=True), cryostat, present, own)
    return _page(request, session, person, cryostat, after)


def _preview(
    request: Request, session: Session, person: Person, cryostat: Cryostat, in_hand: InHand
) -> Response:
    return _page(request, session, person, cryostat, in_hand, part="preview" if wants_part(request) else None)


def _log(request: Request, session: Session, person: Person, cryostat: Cryostat, in_hand: InHand) -> Response:
    present = contents.elements(session, cryostat, cryostat.revision)
    full, edited_put = change_form.with_editor_put(in_hand, cryostat, present)
    try:
        change = change_form.change_of(full)
        logged = service.log_change(session, person, cryostat.slug, change, now(), full.faults)
    except Refused as refused:
        session.rollback()
        faults = {change_form.field_of(name, full, edited_put): text for name, text in refused.fields.items()}
        return _page(request, session, person, cryostat, replace(in_hand, faults=faults), status=422)
    except Forbidden as forbidden:
        session.rollback()
        faults = {"reason": forbidden.message}
        return _page(request, session, person, cryostat, replace(in_hand, faults=faults), status=403)
    except Conflict as conflict:
        session.rollback()
        return _stale(request, session, person, cryostat, in_hand, conflict)
    number = logged.revision.number
    return done(
        request, f"/cryostats/{cryostat.slug}", f"Revision {number} logged: {logged.difference.words}."
    )


def _stale(
    request: Request,
    session: Session,
    person: Person,
    cryostat: Cryostat,
    in_hand: InHand,
    conflict: Conflict,
) -> Response:
    """The others' change is shown, the base moves on, and what was touched here is put on top of theirs."""
    steps = conflict.current if isinstance(conflict.current, list) else []
    session.refresh(cryostat)
    base = contents.elements(session, cryostat, in_hand.base_revision)
    present = contents.elements(session, cryostat, cryostat.revision)
    together, rows = change_form.merged(in_hand, cryostat, base, present)
    rebased = replace(together, base_revision=cryostat.revision)
    return _page(request, session, person, cryostat, rebased, since=Meanwhile(steps, rows), status=409)


def _page(
    request: Request,
    session: Session,
    person: Person,
    cryostat: Cryostat,
    in_hand: InHand,
    *,
    since: Meanwhile | None = None,
    part: str | None = None,
    status: int = 200,
) -> Response:
    view = change_views.change(session, person, cryostat, in_hand, since)
    bad = status if status != 200 else 422 if view.faults else 200
    drawn = contents.elements(session, cryostat, cryostat.revision)
    drawn = {key: put for key, put in drawn.items() if key not in in_hand.remove}
    beside = beside_views.beside(session, cryostat, drawn | {put.key: put for put in in_hand.put})
    return render(request, PAGE, view, block=part, status=bad, beside=beside)
