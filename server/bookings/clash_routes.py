"""The page on which two requests for one cryostat are weighed and settled."""

from fastapi import APIRouter, Request, Response

from server.bookings import clash_views, clashes
from server.bookings.clashes import Choice
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, Refused
from server.people.guards import CurrentPerson
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter()
PAGE = "bookings/clash.html"


@router.get("/cryostats/{slug}/clash")
def weigh(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Two requests, and what each way of settling them takes."""
    typed = Form(list(request.query_params.multi_items())).under("")
    view = clash_views.page(session, person, guards.find(session, slug), now(), typed)
    return render(request, PAGE, view, status=422 if view.faults else 200)


@router.post("/cryostats/{slug}/clash")
def decide(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Settle them; both are told, the reason is kept."""
    try:
        first, second = _number(form, "first"), _number(form, "second")
        choice = Choice(first, second, form.text("choice"), form.text("reason"))
        row = clashes.decide(session, person, slug, choice, now())
    except (Refused, Conflict) as problem:
        session.rollback()
        conflict = problem.message if isinstance(problem, Conflict) else ""
        cryostat, typed = guards.find(session, slug), form.under("")
        view = clash_views.page(session, person, cryostat, now(), typed, problem.fields, conflict)
        return render(request, PAGE, view, status=problem.status)
    return done(request, f"/bookings/{row.first_id}", "Settled; both are told, and the reason is kept.")


def _number(form: Form, name: str) -> int:
    return form.whole(name) or 0


@router.post("/bookings/{number}/leave")
def leave(request: Request, number: int, person: CurrentPerson, session: WriteSession) -> Response:
    """Leave a shared booking."""
    clashes.leave(session, person, number, now())
    return done(request, f"/bookings/{number}", "You left; the others are told.")
