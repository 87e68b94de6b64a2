"""The page of the accounts: from what each group pays, and of which kind it is."""

from datetime import date

from fastapi import APIRouter, Request, Response

from server.bookings import account_views, accounts
from server.bookings.accounts import Entered
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson
from server.web.forms import Form, SentForm
from server.web.moments import today
from server.web.render import done, render

router = APIRouter(prefix="/plan/accounts")
PAGE = "bookings/accounts.html"


@router.get("")
def show(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """The accounts of the groups a person may see."""
    return render(request, PAGE, account_views.page(session, person, today(request, now())))


@router.post("")
def enter(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Enter an account, or the same number with other days."""
    faults: dict[str, str] = {}
    wanted = Entered(
        form.text("number"),
        _day(form, "valid_from", faults),
        _day(form, "valid_until", faults),
        form.text("note"),
    )
    try:
        if faults:
            raise Refused(accounts.NOT_STORED, faults)
        accounts.enter(session, person, form.whole("group") or 0, wanted, now())
    except Refused as refused:
        session.rollback()
        view = account_views.page(session, person, today(request, now()), form.under(""), refused.fields)
        return render(request, PAGE, view, status=422)
    return done(request, "/plan/accounts", "The account is stored.")


@router.post("/kind")
def kind(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Say of which kind a group is."""
    try:
        accounts.set_kind(session, person, form.whole("group") or 0, form.text("kind"), now())
    except Refused as refused:
        session.rollback()
        view = account_views.page(session, person, today(request, now()), form.under(""), refused.fields)
        return render(request, PAGE, view, status=422)
    return done(request, "/plan/accounts", "The kind is stored.")


def _day(form: Form, name: str, faults: dict[str, str]) -> date | None:
    try:
        return date.fromisoformat(form.text(name)) if form.text(name) else None
    except ValueError:
        faults[name] = "Enter a day such as 2026-01-01"
        return None
