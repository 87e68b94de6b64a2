"""Pages of the charges: a month with its lines, one line, the rates, the table for finance."""

from datetime import date

from fastapi import APIRouter, Request, Response

from server.charges import counting, finance, finding, rates, service, views
from server.charges.views import LineView
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, Refused
from server.people.guards import CurrentPerson
from server.web import tabular
from server.web.forms import Form, SentForm
from server.web.moments import today
from server.web.render import done, render

router = APIRouter(prefix="/charges")
MONTH, LINE, RATES = "charges/month.html", "charges/line.html", "charges/rates.html"


@router.get("")
def show(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """The lines of a month; of this one where none is named."""
    typed = request.query_params.get("month", "").strip()
    month = typed or today(request, now()).isoformat()[:7]
    try:
        counting.span(month, request.state.laboratory.zone)
    except Refused as refused:
        view = views.month(session, person, "", (), refused.fields, typed)
        return render(request, MONTH, view, status=422)
    return render(request, MONTH, views.month(session, person, month))


@router.post("")
def make(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Make the lines of a month that are missing."""
    month = form.text("month")
    try:
        made = service.make(session, person, month, now())
    except Refused as refused:
        session.rollback()
        view = views.month(session, person, "", (), refused.fields, month)
        return render(request, MONTH, view, status=422)
    if made.gaps:
        session.commit()
        return render(request, MONTH, views.month(session, person, month, made.gaps))
    return done(request, f"/charges?month={month}", f"{made.lines} lines were made.")


@router.get("/table")
def table(request: Request, person: CurrentPerson, session: ReadSession, style: str = "comma") -> Response:
    """The lines of a month as a table for finance."""
    month = request.query_params.get("month", "").strip()
    counting.span(month, request.state.laboratory.zone)
    content = tabular.MARK + finance.table(finding.of_month(session, person, month), style)
    disposition = {"Content-Disposition": f'attachment; filename="charges-{month}.csv"'}
    return Response(content, media_type="text/csv; charset=utf-8", headers=disposition)


@router.get("/rates")
def show_rates(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """The rates."""
    return render(request, RATES, views.rate_page(session, person, today(request, now())))


@router.post("/rates")
def enter_rate(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Enter a rate."""
    try:
        service.enter_rate(session, person, _rate(form), now())
    except Refused as refused:
        session.rollback()
        view = views.rate_page(session, person, today(request, now()), form.under(""), refused.fields)
        return render(request, RATES, view, status=422)
    return done(request, "/charges/rates", "The rate is stored.")


def _rate(form: Form) -> rates.Entered:
    try:
        day = date.fromisoformat(form.text("from_day"))
    except ValueError:
        day = None
    return rates.Entered(
        form.text("group_kind"),
        form.text("what"),
        form.text("per_hour"),
        form.text("currency"),
        day,
        form.text("note"),
    )


@router.get("/{number}")
def line(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """One line, with what was said about it."""
    return render(request, LINE, LineView(finding.one(session, person, number), person.steward))


@router.post("/{number}/dispute")
def dispute(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Say that a line is wrong."""
    try:
        service.dispute(session, person, number, form.text("note"), now())
    except (Refused, Conflict) as problem:
        return _again(request, session, person, number, form, problem)
    return done(request, f"/charges/{number}", "It is disputed; a steward answers.")


@router.post("/{number}/answer")
def answer(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Answer a dispute: it stands, or is corrected to other hours."""
    try:
        service.answer(session, person, number, form.text("note"), _hours(form), now())
    except (Refused, Conflict) as problem:
        return _again(request, session, person, number, form, problem)
    return done(request, f"/charges/{number}", "The answer is stored.")


def _hours(form: Form) -> float | None:
    text = form.text("hours").replace(",", ".")
    try:
        return float(text) if text else None
    except ValueError:
        raise Refused("Nothing was corrected.", {"hours": "Enter hours such as 12.5"}) from None


def _again(
    request: Request,
    session: WriteSession,
    person: CurrentPerson,
    number: int,
    form: Form,
    problem: Refused | Conflict,
) -> Response:
    session.rollback()
    conflict = problem.message if isinstance(problem, Conflict) else ""
    told = finding.one(session, person, number)
    view = LineView(told, person.steward, form.under(""), problem.fields, conflict)
    return render(request, LINE, view, status=problem.status)
