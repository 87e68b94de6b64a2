"""Where things are moved: taken, received, lent, promised, thrown away, corrected."""

from collections.abc import Callable
from datetime import datetime

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from server.db import ReadSession, WriteSession, now
from server.errors import NotFound, Refused
from server.people.guards import CurrentPerson
from server.people.models import Person
from server.stock import (
    board,
    correcting,
    forms,
    guards,
    item_views,
    items,
    lending,
    moving,
    posting,
    service,
)
from server.stock.forms import Reader
from server.stock.item_views import Asked
from server.stock.models import NOTHING, Item, Loan, Lot, Movement, Order, Reservation
from server.stock.routes import ITEM, once
from server.stock.rules import shown
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter(prefix="/stock")


@router.post("/items/{key}/movements")
def move(
    request: Request, key: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Do one thing with an item; which, the form says."""
    item, do, at = board.find(session, key), form.text("do"), now()
    guards.need_to_move(session, person, item)
    here = f"/stock/items/{key}"
    if posting.sent_before(session, forms.Reader(form).once()):
        return done(request, here, "That form was stored already; nothing was written twice.")
    if do not in DOINGS:
        raise NotFound("There is no such thing to do with an item.")
    try:
        line = DOINGS[do](session, person, item, form, at)
    except Refused as refused:
        session.rollback()
        asked = Asked(do, form.under(""), refused.fields)
        view = item_views.show(session, person, board.find(session, key), at, once(), asked)
        return render(request, ITEM, view, status=422)
    return done(request, here, line)


def _use(session: Session, person: Person, item: Item, form: Form, at: datetime) -> str:
    taking = forms.taking(form, item)
    service.take(session, person, taking, at)
    return f"{shown(service.some(taking.amount), item.unit)} of {item.name} taken."


def _receive(session: Session, person: Person, item: Item, form: Form, at: datetime) -> str:
    receipt = forms.receipt(form, item)
    moving.receive(session, person, receipt, at)
    return f"{shown(receipt.amount * receipt.containers, item.unit)} of {item.name} received."


def _discard(session: Session, person: Person, item: Item, form: Form, at: datetime) -> str:
    taking = forms.taking(form, item)
    moving.discard(session, person, taking, at)
    return f"{shown(service.some(taking.amount), item.unit)} of {item.name} thrown away."


def _lend(session: Session, person: Person, item: Item, form: Form, at: datetime) -> str:
    loan = lending.lend(session, person, forms.lending(form, item), at)
    return f"{shown(loan.outstanding, item.unit)} of {item.name} lent to {loan.borrower}."


def _reserve(session: Session, person: Person, item: Item, form: Form, at: datetime) -> str:
    read, zone = Reader(form), posting.zone(session)
    amount, until = read.amount("amount", item.unit, least=NOTHING), read.moment("until", zone)
    what_for = read.line("what_for", lending.LONGEST_NAME)
    if until is None and "until" not in read.faults:
        read.faults["until"] = "Enter until when, such as 2027-03-14 18:00"
    read.done()
    assert until is not None
    assert item.id is not None
    service.reserve(session, person, item.id, amount, until, what_for, at)
    return f"{shown(amount, item.unit)} of {item.name} promised to {what_for}."


def _order(session: Session, person: Person, item: Item, form: Form, at: datetime) -> str:
    read = Reader(form)
    amount, expected_on = read.amount("amount", item.unit, least=NOTHING), read.day("expected_on")
    note = read.line("because")
    read.done()
    assert item.id is not None
    items.order(session, person, item.id, amount, expected_on, note, at)
    return f"{shown(amount, item.unit)} of {item.name} written down as ordered."


DOINGS: dict[str, Callable[[Session, Person, Item, Form, datetime], str]] = {
    "used": _use,
    "received": _receive,
    "discarded": _discard,
    "lent": _lend,
    "reserved": _reserve,
    "ordered": _order,
}


def _item_of(
    session: Session, person: Person, row: Loan | Lot | Movement | Order | Reservation | None
) -> Item:
    """The item a row is about, if the person may move it; NotFound."""
    item = session.get(Item, row.item_id) if row is not None else None
    if item is None:
        raise NotFound("There is no such entry in the stock room.")
    guards.need_to_move(session, person, item)
    return item


@router.post("/reservations/{number}/release")
def release(request: Request, number: int, person: CurrentPerson, session: WriteSession) -> Response:
    """End a promise."""
    item = _item_of(session, person, session.get(Reservation, number))
    row = service.release(session, person, number, now())
    return done(request, f"/stock/items/{item.key}", f"No longer promised to {row.what_for}.")


@router.post("/orders/{number}/withdraw")
def withdraw(request: Request, number: int, person: CurrentPerson, session: WriteSession) -> Response:
    """An order will not come."""
    item = _item_of(session, person, session.get(Order, number))
    items.withdraw(session, person, number, now())
    return done(request, "/stock/orders", f"Order of {item.name} withdrawn.")


@router.post("/lots/{number}/open")
def open_lot(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """A container was opened."""
    item, at, read = _item_of(session, person, session.get(Lot, number)), now(), Reader(form)
    try:
        on = read.day("opened_on") or posting.today(session, at)
        read.done()
        moving.open_lot(session, person, number, on, at)
    except Refused as refused:
        return _to_mend(request, session, person, item.key, f"lot-{number}", refused)
    return done(request, f"/stock/items/{item.key}", f"A lot of {item.name} is open.")


@router.post("/loans/{number}/return")
def give_back(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Something of a loan came back."""
    item, read, gone = _item_of(session, person, session.get(Loan, number)), Reader(form), form.has("gone")
    try:
        amount = NOTHING if gone and not form.text("amount") else read.amount("amount", item.unit)
        read.done()
        loan = lending.give_back(session, person, number, amount, now(), rest_is_gone=gone)
    except Refused as refused:
        return _to_mend(request, session, person, item.key, f"loan-{number}", refused)
    return done(request, f"/stock/items/{item.key}", f"Written down: back from {loan.borrower}.")


def _to_mend(
    request: Request, session: Session, person: Person, key: str, field: str, refused: Refused
) -> Response:
    """The item's page again, with what is to be mended beside the small form it was typed into."""
    session.rollback()
    asked = Asked(faults={field: ". ".join(refused.fields.values()) or refused.message})
    view = item_views.show(session, person, board.find(session, key), now(), once(), asked)
    return render(request, ITEM, view, status=422)


@router.get("/movements/{number}/correction")
def begin_correction(request: Request, number: int, person: CurrentPerson, session: ReadSession) -> Response:
    """The form that corrects a movement."""
    _item_of(session, person, session.get(Movement, number))
    return render(request, "stock/correction.html", item_views.correction(session, number))


@router.post("/movements/{number}/correction")
def correct(
    request: Request, number: int, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Say what a movement should have been."""
    item = _item_of(session, person, session.get(Movement, number))
    read = Reader(form)
    try:
        amount, why = read.amount("amount", item.unit), read.line("because")
        read.done()
        correcting.correct(session, person, number, amount, why, now())
    except Refused as refused:
        session.rollback()
        view = item_views.correction(session, number, form.under(""), refused.fields)
        return render(request, "stock/correction.html", view, status=422)
    return done(request, f"/stock/items/{item.key}", f"Movement {number} corrected; the first stays.")
