"""A year in sums: the page, and the same as a table or text to hand on."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Request, Response

from server.db import ReadSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.record import rules, year
from server.record.year import Year
from server.web import tabular
from server.web.forms import Form
from server.web.render import render

router = APIRouter(prefix="/record/year")
PAGE = "record/year.html"


@dataclass(frozen=True)
class YearView:
    """The page; `year` is None where the year asked for has none."""

    year: Year | None
    typed: str
    faults: Mapping[str, str] = field(default_factory=dict)


@router.get("")
def show(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """The sums of a year; of this one where none is named."""
    typed = Form(request.query_params.multi_items())
    try:
        found = _asked(request, session, typed)
    except Refused as refused:
        return render(request, PAGE, YearView(None, typed.text("year"), refused.fields), status=422)
    return render(request, PAGE, YearView(found, str(found.number)))


@router.get("/table")
def table(request: Request, _person: CurrentPerson, session: ReadSession, style: str = "comma") -> Response:
    """The sums as one table: section, row, column, value."""
    found = _asked(request, session, Form(request.query_params.multi_items()))
    chosen = tabular.STYLES.get(style, tabular.STYLES["comma"])
    content = tabular.MARK + rules.table(found.sections, chosen)
    disposition = {"Content-Disposition": f'attachment; filename="year-{found.number}.csv"'}
    return Response(content, media_type="text/csv; charset=utf-8", headers=disposition)


def _asked(request: Request, session: ReadSession, typed: Form) -> Year:
    return year.of(session, typed.whole("year"), request.state.laboratory.zone, now())
