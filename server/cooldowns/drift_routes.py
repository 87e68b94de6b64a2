"""The page of drift, and the same as a drawing and as a table."""

from fastapi import APIRouter, Request, Response

from server.cooldowns import drift_views
from server.cryostats import guards
from server.db import ReadSession
from server.errors import NotFound
from server.people.guards import CurrentPerson
from server.web import tabular
from server.web.render import environment, render

router = APIRouter(prefix="/cryostats/{slug}")
PAGE = "cooldowns/drift.html"
SHUT_IN = {"Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"}


@router.get("/drift")
def show(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """How this cryostat drifts over its cooldowns."""
    view = drift_views.page(session, guards.find(session, slug), request.state.laboratory.zone)
    return render(request, PAGE, view)


@router.get("/drift.svg")
def drawing(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """The drawing alone; NotFound without a cooldown."""
    view = drift_views.page(session, guards.find(session, slug), request.state.laboratory.zone)
    if view.drawing is None:
        raise NotFound(f"{view.cryostat.name} has no cooldown to draw yet.")
    template = environment().get_template("cooldowns/drift.svg")
    return _file(template.render(view=view), "image/svg+xml", f"{slug}-drift.svg")


@router.get("/drift.csv")
def table(slug: str, _person: CurrentPerson, session: ReadSession, style: str = "comma") -> Response:
    """Every cooldown with its witnesses."""
    chosen = tabular.STYLES.get(style, tabular.STYLES["comma"])
    text = tabular.MARK + drift_views.table(session, guards.find(session, slug), chosen)
    return _file(text, "text/csv", f"{slug}-drift.csv")


def _file(text: str, media_type: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text.encode(), media_type=f"{media_type}; charset=utf-8", headers=SHUT_IN | disposition)
