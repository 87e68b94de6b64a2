"""A movement that was written wrongly: it stays, and another says by how much it was wrong, and why."""

from datetime import datetime
from decimal import Decimal

from sqlmodel import Session

from server.errors import NotFound, Refused
from server.history import service as history
from server.stock import posting
from server.stock.models import NOTHING, Item, Loan, Movement, Reservation
from server.stock.posting import Posted
from server.stock.rules import BadAmount, exact, shown
from server.stock.service import NOT_STORED, subject


def effective(session: Session, first: Movement) -> Decimal:
    """What a movement says after its corrections: of a count what was found, else how much moved."""
    later = posting.corrections(session, first)
    if first.kind == "counted":
        return next((row.found for row in reversed(later) if row.found is not None), first.found or NOTHING)
    return abs(first.change + sum((row.change for row in later), NOTHING))


def correct(
    session: Session, person: history.Author, movement_id: int, amount: Decimal, why: str, now: datetime
) -> Movement:
    """Say what a movement should have been. It stays; the correction adds the difference and its reason.

    Refused without a reason, or where nothing differs; NotFound.
    """
    first = _first(session, movement_id)
    item = posting.lock(session, first.item_id)
    lot = posting.lot_of(session, item, first.lot_id)
    right, was = _right(amount), effective(session, first)
    _check(right, was, why, item)
    delta = right - was if first.kind in ("received", "returned", "counted") else was - right
    before = first.change + sum((row.change for row in posting.corrections(session, first)), NOTHING)
    _with_its_loan(session, first, right - was, now)
    _with_its_promise(session, first, right - was)
    found = right if first.kind == "counted" else None
    posted = Posted(first.kind, delta, why.strip(), found=found, corrects=first.id, loan_id=first.loan_id)
    row = posting.post(session, person, lot, posted, now)
    posting.took_otherwise(session, first, before, before + delta)
    line = f"{item.name}, movement {first.id} corrected to {shown(right, item.unit)}: {why.strip()}"
    history.note(session, person, subject(item.key), line, now, {"movement": row.id})
    return row


def _first(session: Session, movement_id: int) -> Movement:
    found = session.get(Movement, movement_id)
    if found is not None and found.corrects is not None:
        found = session.get(Movement, found.corrects)
    if found is None:
        raise NotFound("There is no such movement.")
    return found


def _right(amount: Decimal) -> Decimal:
    try:
        return exact(amount)
    except BadAmount as bad:
        raise Refused(NOT_STORED, {"amount": str(bad)}) from None


def _check(right: Decimal, was: Decimal, why: str, item: Item) -> None:
    faults = {}
    if not why.strip():
        faults["because"] = "Enter the reason for the correction"
    if right == was:
        faults["amount"] = f"Nothing differs: it says {shown(was, item.unit)} already"
    if faults:
        raise Refused(NOT_STORED, faults)


def _with_its_loan(session: Session, first: Movement, more: Decimal, now: datetime) -> None:
    """A loan is as large as its movements say."""
    if first.loan_id is None or first.kind not in ("lent", "returned"):
        return
    loan = session.get(Loan, first.loan_id, populate_existing=True)
    assert loan is not None
    loan.outstanding += more if first.kind == "lent" else -more
    if loan.outstanding < NOTHING:
        raise Refused(NOT_STORED, {"amount": "More would have come back than was lent"})
    loan.ended_at = None if loan.outstanding else loan.ended_at or now
    session.add(loan)


def _with_its_promise(session: Session, first: Movement, more: Decimal) -> None:
    """What was not taken after all is promised still."""
    if first.reservation_id is None:
        return
    promise = session.get(Reservation, first.reservation_id, populate_existing=True)
    assert promise is not None
    if promise.ended_at is None:
        promise.left = min(promise.amount, max(promise.left - more, NOTHING))
        session.add(promise)
