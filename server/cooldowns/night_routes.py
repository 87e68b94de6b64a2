"""Pages of the night: the way to the card, the card, its text, its record, its numbers and its roster."""

from datetime import date

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.cooldowns import forms, night, night_orders, night_views
from server.cooldowns.forms import Here
from server.cooldowns.night_rules import Contact
from server.cooldowns.night_views import RecordsView
from server.cooldowns.views import Trouble
from server.cryostats import guards
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson, Steward
from server.people.models import Person
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter()
CARD, ORDERS = "cooldowns/night.html", "cooldowns/night_orders.html"


@router.get("/night")
def index(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """Which cryostat has stopped."""
    return render(request, "cooldowns/nights.html", night_views.index(session))


@router.get("/cryostats/{slug}/night")
def card(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The card of the night."""
    here = _here(request)
    view = night_views.card(session, person, guards.find(session, slug), here.zone, here.now)
    return render(request, CARD, view)


@router.get("/cryostats/{slug}/night/card.txt")
def text(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The card as plain text, to be kept where there may be no network."""
    here = _here(request)
    view = night_views.card(session, person, guards.find(session, slug), here.zone, here.now)
    headers = {
        "Content-Disposition": f'attachment; filename="night-{slug}.txt"',
        "Cache-Control": "no-store",
    }
    return Response(
        night_views.text(view, here.zone), media_type="text/plain; charset=utf-8", headers=headers
    )


def _here(request: Request) -> Here:
    return Here(request.state.laboratory.zone, now())


def _typed(form: Form) -> dict[str, str]:
    return dict(form.under(""))


@router.get("/cryostats/{slug}/night/records")
def records(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """What was written down in the nights."""
    cryostat = guards.find(session, slug)
    view = RecordsView(cryostat, night.records(session, cryostat))
    return render(request, "cooldowns/night_records.html", view)


@router.post("/cryostats/{slug}/night/records")
def write(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Keep what somebody saw."""
    here = _here(request)
    try:
        night.write(session, person, slug, forms.seen(form, here), here.now)
    except Refused as refused:
        session.rollback()
        trouble = Trouble("record", refused.fields, _typed(form), refused.message)
        cryostat = guards.find(session, slug)
        view = night_views.card(session, person, cryostat, here.zone, here.now, trouble)
        return render(request, CARD, view, status=422)
    return done(request, f"/cryostats/{slug}/night", "Written down.")


@router.get("/cryostats/{slug}/night/orders")
def orders(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The numbers of this cryostat, the roster, the swaps."""
    return _orders(request, session, person, slug)


def _orders(
    request: Request,
    session: Session,
    person: Person,
    slug: str,
    trouble: Trouble | None = None,
    contacts: list[Contact] | None = None,
) -> Response:
    here, cryostat = _here(request), guards.find(session, slug)
    view = night_views.orders(session, person, cryostat, here.zone, here.now, trouble, contacts)
    return render(request, ORDERS, view, status=422 if trouble else 200)


@router.post("/cryostats/{slug}/night/numbers")
def write_numbers(
    request: Request, slug: str, steward: Steward, session: WriteSession, form: SentForm
) -> Response:
    """Store the numbers."""
    numbers, faults = forms.numbers(form)
    try:
        if faults:
            raise Refused("The numbers were not stored.", faults)
        night_orders.write_rule(session, steward, slug, numbers, now())
    except Refused as refused:
        session.rollback()
        trouble = Trouble("numbers", refused.fields, _typed(form), refused.message)
        return _orders(request, session, steward, slug, trouble)
    return done(request, f"/cryostats/{slug}/night/orders", "The numbers are stored and stand on the card.")


@router.post("/cryostats/{slug}/night/roster")
def write_roster(
    request: Request, slug: str, steward: Steward, session: WriteSession, form: SentForm
) -> Response:
    """Store the roster."""
    contacts, faults = forms.contacts(form)
    everywhere = form.has("everywhere")
    try:
        if faults:
            raise Refused("The roster was not stored.", faults)
        night_orders.write_roster(session, steward, slug, contacts, everywhere, now())
    except Refused as refused:
        session.rollback()
        trouble = Trouble("roster", refused.fields, _typed(form), refused.message)
        return _orders(request, session, steward, slug, trouble, contacts)
    return done(request, f"/cryostats/{slug}/night/orders", "The roster is stored.")


@router.post("/cryostats/{slug}/night/swaps")
def swap(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Somebody takes a night of somebody else."""
    try:
        night_orders.swap(
            session,
            person,
            slug,
            _night(form.text("night")),
            form.text("instead_of"),
            form.text("name"),
            form.text("phone"),
            now(),
        )
    except Refused as refused:
        session.rollback()
        trouble = Trouble("swap", refused.fields, _typed(form), refused.message)
        return _orders(request, session, person, slug, trouble)
    return done(request, f"/cryostats/{slug}/night/orders", "The swap is written down.")


def _night(text: str) -> date:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        raise Refused("The swap was not written down.", {"night": "Choose a night"}) from None
    if not 1970 <= found.year <= 2200:
        raise Refused("The swap was not written down.", {"night": "Choose a night"})
    return found
