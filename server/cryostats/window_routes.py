"""Pages beside a configuration: the table of the cold window, the samples, the standing orders."""

from datetime import date

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.cryostats import guards, samples, window, window_views
from server.cryostats.rules import STEWARD
from server.cryostats.samples import Described
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, NotFound, Refused
from server.laboratory import orders
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}")


@router.get("/window")
def table(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Who may change what while it is cold."""
    view = window_views.table(session, person, guards.find(session, slug))
    return render(request, "cryostats/window.html", view)


@router.post("/window")
def write(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Store one line of the table."""
    try:
        line = window.write(session, person, slug, form.text("what"), form.under("line."), now())
    except Refused as refused:
        session.rollback()
        view = window_views.table(session, person, guards.find(session, slug), refused.fields)
        return render(request, "cryostats/window.html", view, status=422)
    return done(request, f"/cryostats/{slug}/window", f"Stored: {line.words}.")


@router.get("/samples")
def inside(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The samples inside, and those that were."""
    view = window_views.sample_page(session, person, guards.find(session, slug))
    return render(request, "cryostats/samples.html", view)


@router.post("/samples")
def put_in(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Write down a sample that is inside."""
    try:
        said, faults = _described(form)
        row = samples.put_in(session, person, slug, said, now(), faults)
    except Refused as refused:
        session.rollback()
        typed = form.under("")
        view = window_views.sample_page(session, person, guards.find(session, slug), typed, refused.fields)
        return render(request, "cryostats/samples.html", view, status=422)
    return done(request, f"/cryostats/{slug}/samples", f"{row.what} is written down as inside.")


def _described(form: Form) -> tuple[Described, dict[str, str]]:
    faults: dict[str, str] = {}
    attached_on = None
    try:
        attached_on = date.fromisoformat(form.text("attached_on")) if form.text("attached_on") else None
    except ValueError:
        faults["attached_on"] = "Enter a day such as 2026-03-14"
    revision = form.whole("revision")
    said = Described(
        what=form.text("what"),
        owner_id=form.whole("owner") or 0,
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


@router.post("/samples/{number}/{step}")
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
    acts = {"approve": samples.approve, "take-out": samples.take_out}
    if step not in acts:
        raise NotFound("There is no such step of a sample.")
    samples.need_in(session, guards.find(session, slug), number)
    row = acts[step](session, person, number, form.text("note"), now())
    return done(request, f"/cryostats/{slug}/samples", f"The sample is {row.what}.")


@router.get("/orders")
def standing_orders(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The standing orders of this cryostat."""
    view = window_views.orders_page(session, person, guards.find(session, slug))
    return render(request, "cryostats/orders.html", view)


@router.post("/orders")
def write_order(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Store the next version of the cryostat's standing order."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    try:
        after = form.whole("after") or 0
        row = orders.write(session, person, f"cryostat/{slug}", form.text("text"), after, now())
    except (Refused, Conflict) as problem:
        session.rollback()
        return _order_again(request, session, person, slug, form.text("text"), problem)
    return done(request, f"/cryostats/{slug}/orders", f"Version {row.number} of the order stored.")


def _order_again(
    request: Request, session: Session, person: Person, slug: str, text: str, problem: Refused | Conflict
) -> Response:
    faults = problem.fields or {"text": problem.message}
    view = window_views.orders_page(session, person, guards.find(session, slug), text, faults)
    return render(request, "cryostats/orders.html", view, status=problem.status)
