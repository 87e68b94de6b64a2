"""Pages of samples: inside a cryostat, and planned on a draft."""

from datetime import date

from fastapi import APIRouter, Request, Response

from server.cryostats import drafts, guards, samples, samples_planned, samples_views
from server.cryostats.samples import Described
from server.db import ReadSession, WriteSession, now
from server.errors import NotFound, Refused
from server.people.guards import CurrentPerson
from server.web.forms import Form, SentForm
from server.web.moments import today
from server.web.render import done, render, wants_part

router = APIRouter()
INSIDE, PLANNED = "cryostats/samples.html", "cryostats/samples_planned.html"
ACTS = {"approve": samples.approve, "take-out": samples.take_out}


@router.get("/cryostats/{slug}/samples")
def inside(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The samples inside, and those that were."""
    return render(request, INSIDE, samples_views.page(session, person, guards.find(session, slug)))


@router.post("/cryostats/{slug}/samples")
def put_in(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Write down a sample that is inside."""
    at = now()
    said, faults = _described(form)
    try:
        row = samples.put_in(session, person, slug, said, at, today(request, at), faults)
    except Refused as refused:
        return _again(request, session, person, slug, form, refused)
    return done(request, f"/cryostats/{slug}/samples", f"{row.what} is written down as inside.")


def _again(
    request: Request, session: WriteSession, person: CurrentPerson, slug: str, form: Form, refused: Refused
) -> Response:
    session.rollback()
    typed, cryostat = dict(form.under("")), guards.find(session, slug)
    view = samples_views.page(session, person, cryostat, typed, refused.fields)
    return render(request, INSIDE, view, status=422)


def _described(form: Form) -> tuple[Described, dict[str, str]]:
    faults: dict[str, str] = {}
    attached_on = None
    try:
        attached_on = date.fromisoformat(form.text("attached_on")) if form.text("attached_on") else None
    except ValueError:
        faults["attached_on"] = "Enter a day such as 2026-03-14"
    revision = _whole(form, "revision", faults)
    said = Described(
        what=form.text("what"),
        owner_id=_whole(form, "owner", faults) or 0,
        hazard=form.text("hazard"),
        attach=form.text("attach"),
        revision=-1 if revision is None else revision,
        if_breaks=form.text("if_breaks"),
        carrier=form.text("carrier"),
        attached_on=attached_on,
        mount=form.text("mount"),
        note=form.text("note"),
    )
    return said, faults


def _whole(form: Form, name: str, faults: dict[str, str]) -> int | None:
    try:
        return form.whole(name)
    except Refused as refused:
        faults |= refused.fields
        return None


@router.post("/cryostats/{slug}/samples/{number}/{step}")
def step(
    request: Request,
    slug: str,
    number: int,
    step: str,
    person: CurrentPerson,
    session: WriteSession,
    form: SentForm,
) -> Response:
    """Approve a sample, or take it out."""
    if step not in ACTS:
        raise NotFound("There is no such step of a sample.")
    samples.need_in(session, guards.find(session, slug), number)
    try:
        row = ACTS[step](session, person, number, form.text("note"), now())
    except Refused as refused:
        fields = {f"{step}-{number}": text for text in refused.fields.values()}
        return _again(request, session, person, slug, Form([]), Refused(refused.message, fields))
    return done(request, f"/cryostats/{slug}/samples", f"The sample is {row.what}.")


@router.get("/drafts/{number}/samples")
def planned(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """The samples that shall come in with a draft; the list alone where the page of the draft asks."""
    view = samples_views.planned(session, person, drafts.find(session, number))
    part = wants_part(request)
    return render(request, PLANNED, view, block="planned" if part else None, part=part)


@router.post("/drafts/{number}/samples")
def plan(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """One more sample that shall come in."""
    said, faults = _described(form)
    try:
        row = samples_planned.plan(session, person, number, said, now(), faults)
    except Refused as refused:
        session.rollback()
        sheet, typed = drafts.find(session, number), dict(form.under(""))
        view = samples_views.planned(session, person, sheet, typed, refused.fields)
        return render(request, PLANNED, view, status=422, part=False)
    return done(request, f"/drafts/{number}/samples", f"{row.what} comes in when the draft is built.")


@router.post("/drafts/{number}/samples/{planned_id}/leave-out")
def leave_out(
    request: Request, number: int, planned_id: int, person: CurrentPerson, session: WriteSession
) -> Response:
    """It shall not come in after all."""
    row = samples_planned.leave_out(session, person, number, planned_id, now())
    return done(request, f"/drafts/{number}/samples", f"{row.what} is left out of the draft.")
