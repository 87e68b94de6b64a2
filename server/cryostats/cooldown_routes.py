"""How long it takes to get cold: the page, the part other pages include, and what it is learnt from."""

from fastapi import APIRouter, Request, Response

from server.cryostats import cooldown_estimate, cooldown_rules, cooldown_views, guards
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson, Steward
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter(prefix="/cryostats/{slug}/cooldown-times")


@router.get("")
def show(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """When it gets cold, from what that is told, and for the steward a form for something better."""
    view = cooldown_views.view(session, person, guards.find(session, slug))
    return render(request, "cryostats/cooldown_times.html", view)


@router.get("/part")
def part(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """The times alone, for other pages."""
    view = cooldown_estimate.estimate(session, guards.find(session, slug))
    return render(request, "cryostats/_cooldown_times.html", view, slug=slug)


@router.post("")
def enter(request: Request, slug: str, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Enter what is known of a cooldown."""
    cryostat = guards.find(session, slug, lock=True)
    try:
        basis = cooldown_rules.read(form.text("kind"), form.text("table"), form.text("masses"))
        revision = form.whole("revision")
        row = cooldown_estimate.store(
            session,
            steward,
            cryostat,
            basis,
            cryostat.revision if revision is None else revision,
            form.text("note"),
            now(),
        )
    except Refused as refused:
        session.rollback()
        view = cooldown_views.view(session, steward, guards.find(session, slug), form, refused)
        return render(request, "cryostats/cooldown_times.html", view, status=422)
    return done(request, f"/cryostats/{slug}/cooldown-times", f"Version {row.number} entered.")
