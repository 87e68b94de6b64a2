"""The page of a plot, and the same as a drawing and as a table of its own."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from server.cooldowns import plots_views
from server.cooldowns.plots_views import Asked, PlotView
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.db import ReadSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.web import tabular
from server.web.forms import Form
from server.web.render import environment, render

router = APIRouter(prefix="/cryostats/{slug}/readings")
PAGE = "cooldowns/plot.html"
Keys = Annotated[list[int], Query()]
Moment = Annotated[str, Query(max_length=40)]
From = Annotated[str, Query(alias="from", max_length=40)]
SHUT_IN = {"Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"}


@router.get("/plot")
def show(
    request: Request,
    slug: str,
    _person: CurrentPerson,
    session: ReadSession,
    channel: Keys = [],  # noqa: B006 - never altered
    begin: From = "",
    to: Moment = "",
    axis: str = "",
) -> Response:
    """The plot of some channels over a stretch of time."""
    cryostat, zone = guards.find(session, slug), request.state.laboratory.zone
    try:
        what = _asked(session, cryostat, channel, begin, to, axis, zone)
    except Refused as refused:
        what = _asked(session, cryostat, channel, "", "", axis, zone)
        view = plots_views.page(session, cryostat, what, zone)
        return render(request, PAGE, view, status=422, faults=refused.fields)
    return render(request, PAGE, plots_views.page(session, cryostat, what, zone), faults={})


@router.get("/plot.svg")
def drawing(
    request: Request,
    slug: str,
    _person: CurrentPerson,
    session: ReadSession,
    channel: Keys = [],  # noqa: B006 - never altered
    begin: From = "",
    to: Moment = "",
    axis: str = "",
) -> Response:
    """The drawing alone."""
    cryostat, zone = guards.find(session, slug), request.state.laboratory.zone
    what = _asked(session, cryostat, channel, begin, to, axis, zone)
    view: PlotView = plots_views.page(session, cryostat, what, zone)
    template = environment().get_template("cooldowns/plot.svg")
    text = template.render(view=view, laboratory=request.state.laboratory)
    return _file(text, "image/svg+xml", f"{slug}-{plots_views.span_words(what.begin, what.end)}.svg")


@router.get("/plot.csv")
def table(
    request: Request,
    slug: str,
    _person: CurrentPerson,
    session: ReadSession,
    channel: Keys = [],  # noqa: B006 - never altered
    begin: From = "",
    to: Moment = "",
    style: str = "comma",
) -> Response:
    """Every reading of the plot as a table."""
    cryostat, zone = guards.find(session, slug), request.state.laboratory.zone
    what = _asked(session, cryostat, channel, begin, to, "", zone)
    chosen = tabular.STYLES.get(style, tabular.STYLES["comma"])
    text = tabular.MARK + plots_views.table(session, what, chosen)
    return _file(text, "text/csv", f"{slug}-{plots_views.span_words(what.begin, what.end)}.csv")


def _asked(
    session: Session, cryostat: Cryostat, keys: list[int], begin: str, to: str, axis: str, zone: str
) -> Asked:
    # In an address a plus sign of an offset may have become a space.
    typed = Form([("from", _with_plus(begin)), ("to", _with_plus(to))])
    first, last = typed.moment("from", zone), typed.moment("to", zone)
    return plots_views.asked(session, cryostat, keys, first, last, axis, now())


def _with_plus(text: str) -> str:
    head, _, tail = text.rpartition(" ")
    return f"{head}+{tail}" if ":" in head and len(tail) in (4, 5) else text


def _file(text: str, media_type: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text.encode(), media_type=f"{media_type}; charset=utf-8", headers=SHUT_IN | disposition)
