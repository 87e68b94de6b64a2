"""Pages beside a configuration: the table of the cold window, and the standing orders."""

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.cryostats import guards, window, window_views
from server.cryostats.rules import STEWARD
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, Refused
from server.laboratory import orders
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.web.forms import SentForm
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
