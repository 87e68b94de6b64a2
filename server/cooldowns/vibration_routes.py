"""The page of one vibration record, and the same as drawings and tables."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from server.cooldowns import vibration_analysis, vibration_records, vibration_views
from server.cooldowns.vibration_analysis import LEAST_HZ, MOST_HZ, Analysis
from server.cryostats import guards
from server.db import ReadSession
from server.errors import NotFound
from server.people.guards import CurrentPerson
from server.physics.statistics import Band
from server.units import BadNumber, parse_quantity
from server.web import tabular
from server.web.render import environment, render

router = APIRouter(prefix="/cryostats/{slug}/vibration-records")
PAGE = "cooldowns/vibration.html"
SHUT_IN = {"Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'"}
TABLES = {
    "bands": vibration_views.bands_table,
    "spectrum": vibration_views.spectrum_table,
    "tones": vibration_views.tones_table,
}
DRAWINGS = {"bands": vibration_views.octaves_drawing, "spectrum": vibration_views.spectrum_drawing}
Key = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Typed = Annotated[str, Query(max_length=40)]


@router.get("/{number}")
def show(
    request: Request,
    slug: str,
    number: int,
    _person: CurrentPerson,
    session: ReadSession,
    against: Key = None,
    low: Typed = "",
    high: Typed = "",
) -> Response:
    """What one record says, beside `against` or the first at its place; `low` and `high` choose the band."""
    cryostat = guards.find(session, slug)
    record = vibration_records.find(session, cryostat, number)
    band_Hz, faults = _band(low, high)
    home = request.app.state.settings.home
    found = vibration_analysis.of(session, home, cryostat, record, against, band_Hz)
    view = vibration_views.page(
        cryostat, found, request.state.laboratory.zone, faults, {"low": low, "high": high}
    )
    return render(request, PAGE, view, status=422 if faults else 200)


@router.get("/{number}/tables/{what}")
def table(
    request: Request,
    slug: str,
    number: int,
    what: str,
    _person: CurrentPerson,
    session: ReadSession,
    against: Key = None,
    style: str = "comma",
) -> Response:
    """The bands beside the baseline, the spectrum, or the tones as a table."""
    writer = TABLES.get(what)
    if writer is None:
        raise NotFound("There is no such table.")
    found = _found(request, session, slug, number, against)
    text = tabular.MARK + writer(found, tabular.STYLES.get(style, tabular.STYLES["comma"]))
    return _file(text, "text/csv", f"{slug}-vibration-{number}-{what}.csv")


@router.get("/{number}/drawings/{what}")
def drawing(
    request: Request,
    slug: str,
    number: int,
    what: str,
    _person: CurrentPerson,
    session: ReadSession,
    against: Key = None,
) -> Response:
    """The bands against the curves, or the spectrum, as a drawing."""
    found = _found(request, session, slug, number, against)
    drawn = DRAWINGS[what](found) if what in DRAWINGS else None
    if drawn is None:
        raise NotFound("There is no such drawing.")
    template = environment().get_template("cooldowns/vibration.svg")
    text = template.render(drawing=drawn, title=f"Vibration at {found.heard.record.place}: {what}")
    return _file(text, "image/svg+xml", f"{slug}-vibration-{number}-{what}.svg")


def _found(request: Request, session: Session, slug: str, number: int, against: int | None) -> Analysis:
    cryostat = guards.find(session, slug)
    record = vibration_records.find(session, cryostat, number)
    home = request.app.state.settings.home
    return vibration_analysis.of(session, home, cryostat, record, against, (LEAST_HZ, MOST_HZ))


def _file(text: str, media_type: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text.encode(), media_type=f"{media_type}; charset=utf-8", headers=SHUT_IN | disposition)


def _band(low: str, high: str) -> tuple[tuple[float, float], dict[str, str]]:
    faults: dict[str, str] = {}
    ends = {}
    for name, text, usual in (("low", low, LEAST_HZ), ("high", high, MOST_HZ)):
        ends[name] = usual
        if text:
            try:
                ends[name] = _one(text)
            except BadNumber as problem:
                faults[name] = str(problem)
    if not faults and ends["low"] >= ends["high"]:
        faults["high"] = "Enter an upper end above the lower one"
    return ((LEAST_HZ, MOST_HZ) if faults else (ends["low"], ends["high"])), faults


def _one(text: str) -> float:
    found = parse_quantity(text.replace("\x00", ""), "Hz", "Hz")
    if found is None or isinstance(found, Band) or not 0.0 < found < 1e6:
        raise BadNumber("Enter one frequency such as 1 Hz")
    return found
