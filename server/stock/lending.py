"""Lending to people and laboratories, and what comes back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session, col, select

from server.errors import NotFound, Refused
from server.history import service as history
from server.stock import posting
from server.stock.models import NOTHING, Item, Loan
from server.stock.posting import Posted
from server.stock.rules import BadAmount, exact, in_order, shown
from server.stock.service import NOT_STORED, some, subject

LONGEST_NAME = 120


@dataclass(frozen=True)
class Lending:
    """Who takes how much along, and by which day it is wanted back."""

    item_id: int
    amount: Decimal
    borrower: str
    due_on: date | None
    lot_id: int | None = None
    because: str = ""
    once: str | None = None


def lend(session: Session, person: history.Author, lending: Lending, now: datetime) -> Loan:
    """Lend out of one lot. Refused without a borrower or a day, or for more than the lot has."""
    wanted, item = some(lending.amount), posting.lock(session, lending.item_id)
    due_on = _due(lending, posting.today(session, now))
    candidates = in_order(item, posting.present_lots(session, lending.item_id), posting.today(session, now))
    lots = [lot for lot in candidates if lending.lot_id in (None, lot.id) and lot.on_hand >= wanted]
    if not lots:
        raise Refused(
            NOT_STORED, {"amount": f"No lot here has {shown(wanted, item.unit)}. Count, or lend less"}
        )
    lot = lots[0]
    assert lot.id is not None
    row = Loan(
        item_id=lending.item_id,
        lot_id=lot.id,
        borrower=lending.borrower.strip(),
        due_on=due_on,
        outstanding=wanted,
        lent_at=now,
        by_name=person.name,
    )
    session.add(row)
    session.flush()
    posted = Posted("lent", -wanted, lending.because or row.borrower, loan_id=row.id, once=lending.once)
    posting.post(session, person, lot, posted, now)
    line = f"{shown(wanted, item.unit)} of {item.name} lent to {row.borrower}, due {due_on.isoformat()}"
    history.note(session, person, subject(item.key), line, now, {"loan": row.id})
    return row


def _due(lending: Lending, today: date) -> date:
    faults = {}
    if not lending.borrower.strip() or len(lending.borrower) > LONGEST_NAME:
        faults["borrower"] = f"Enter the person or laboratory, in at most {LONGEST_NAME} letters"
    if lending.due_on is None or lending.due_on < today:
        faults["due_on"] = "Enter the day it is wanted back, today or later"
    if faults or lending.due_on is None:
        raise Refused(NOT_STORED, faults)
    return lending.due_on


def give_back(
    session: Session,
    person: history.Author,
    loan_id: int,
    amount: Decimal,
    now: datetime,
    *,
    rest_is_gone: bool = False,
) -> Loan:
    """Something of a loan came back. With `rest_is_gone` what did not is written down as used.

    Refused for more than is outstanding, or for nothing while the rest is still to come; NotFound.
    """
    loan = session.get(Loan, loan_id)
    if loan is None:
        raise NotFound("There is no such loan.")
    item = posting.lock(session, loan.item_id)
    session.refresh(loan)
    back = _back(amount, loan, item, rest_is_gone)
    rest = loan.outstanding - back if rest_is_gone else NOTHING
    lot = posting.lot_of(session, item, loan.lot_id)
    if back + rest > NOTHING:
        why = f"From {loan.borrower}"
        posting.post(session, person, lot, Posted("returned", back + rest, why, loan_id=loan.id), now)
    if rest > NOTHING:
        why = f"Does not come back from {loan.borrower}"
        posting.post(session, person, lot, Posted("used", -rest, why, loan_id=loan.id), now)
    loan.outstanding -= back + rest
    loan.ended_at = None if loan.outstanding else now
    session.add(loan)
    gone = f", {shown(rest)} does not come back" if rest else ""
    line = f"{shown(back, item.unit)} of {item.name} back from {loan.borrower}{gone}"
    history.note(session, person, subject(item.key), line, now, {"loan": loan.id})
    return loan


def _back(amount: Decimal, loan: Loan, item: Item, rest_is_gone: bool) -> Decimal:
    try:
        back = exact(amount)
    except BadAmount as bad:
        raise Refused(NOT_STORED, {"amount": str(bad)}) from None
    if back > loan.outstanding:
        out = shown(loan.outstanding, item.unit)
        raise Refused(NOT_STORED, {"amount": f"{out} is out: enter at most that"})
    if back == NOTHING and not rest_is_gone:
        raise Refused(NOT_STORED, {"amount": "Enter what came back, or say that the rest does not"})
    return back


def open_loans(session: Session, item_id: int | None = None) -> Sequence[Loan]:
    """What is out, the earliest due first; of one item, or of all."""
    query = select(Loan).where(col(Loan.ended_at).is_(None))
    if item_id is not None:
        query = query.where(Loan.item_id == item_id)
    return session.exec(query.order_by(col(Loan.due_on), col(Loan.id))).all()
