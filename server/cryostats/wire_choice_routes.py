"""The page on which a wire is chosen."""

from fastapi import APIRouter, Request, Response

from server.cryostats import guards, wire_choice
from server.db import ReadSession
from server.people.guards import CurrentPerson
from server.web.render import render

router = APIRouter(prefix="/cryostats/{slug}")


@router.get("/wire-choice")
def choose(
    request: Request, slug: str, _person: CurrentPerson, session: ReadSession, most_ohm: str = ""
) -> Response:
    """Every metal and gauge for the lines in the address, ranked by what they cost the cold."""
    typed = {
        name.removeprefix("e."): text.strip()
        for name, text in request.query_params.items()
        if name.startswith("e.")
    }
    view = wire_choice.view(session, guards.find(session, slug), typed, most_ohm.strip())
    bad = bool(view.faults or view.refusal)
    return render(request, "cryostats/wire_choice.html", view, status=422 if bad else 200)
