"""The page of one vibration record."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from server.cooldowns import vibration_analysis, vibration_records, vibration_views
from server.cooldowns.vibration_analysis import LEAST_HZ, MOST_HZ
from server.cryostats import guards
from server.db import ReadSession
from server.people.guards import CurrentPerson
from server.physics.statistics import Band
from server.units import BadNumber, parse_quantity
from server.web.render import render

router = APIRouter(prefix="/cryostats/{slug}/vibration-records")
PAGE = "cooldowns/vibration.html"
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
    view = vibration_views.page(cryostat, found, faults, {"low": low, "high": high})
    return render(request, PAGE, view, status=422 if faults else 200)


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
