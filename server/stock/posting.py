"""One movement into the books: the row, the total of its lot, and what the month took, in one transaction.

Whoever posts holds the item locked, so that nobody else alters its totals in between.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.errors import Conflict, NotFound
from server.history import service as history
from server.laboratory.models import Laboratory
from server.stock.models import NOTHING, Demand, Item, Lot, Movement
from server.stock.rules import shown
from server.web.moments import local

WRITTEN_DOWN = ("used", "discarded")
TAKES = (*WRITTEN_DOWN, "counted")
"""What tells how fast an item goes: also what a count finds missing, since somebody took it unseen."""


@dataclass(frozen=True)
class Posted:
    """A movement as it is to be written."""

    kind: str
    change: Decimal
    because: str = ""
    found: Decimal | None = None
    corrects: int | None = None
    loan_id: int | None = None
    reservation_id: int | None = None
    once: str | None = None


def zone(session: Session) -> str:
    """The laboratory's zone; before there is a laboratory, UTC."""
    found = session.get(Laboratory, 1)
    return found.zone if found else "UTC"


def today(session: Session, now: datetime) -> date:
    """The laboratory's day."""
    return local(now, zone(session)).date()


def lock(session: Session, item_id: int) -> Item:
    """The item, for nobody else to move until the transaction ends; NotFound."""
    query = select(Item).where(Item.id == item_id).with_for_update(key_share=True)
    found = session.exec(query.execution_options(populate_existing=True)).first()
    if found is None:
        raise NotFound("There is no such item in the stock room.")
    return found


def lot_of(session: Session, item: Item, lot_id: int) -> Lot:
    """A lot of this item, as it is behind the lock; NotFound."""
    query = select(Lot).where(Lot.id == lot_id, Lot.item_id == item.id)
    found = session.exec(query.execution_options(populate_existing=True)).first()
    if found is None:
        raise NotFound(f"There is no such lot of {item.name}.")
    return found


def present_lots(session: Session, item_id: int | None = None) -> Sequence[Lot]:
    """Lots that hold something, owe something or wait for a count: of one item, or of all."""
    # Two ranges rather than "not zero", which no index answers.
    some = sa.or_(col(Lot.on_hand) > NOTHING, col(Lot.on_hand) < NOTHING, col(Lot.recount_since).is_not(None))
    query = select(Lot).where(some).order_by(col(Lot.item_id), col(Lot.id))
    if item_id is not None:
        query = query.where(Lot.item_id == item_id)
    return session.exec(query.execution_options(populate_existing=True)).all()


def post(session: Session, author: history.Author, lot: Lot, wanted: Posted, now: datetime) -> Movement:
    """Write one movement and keep the totals; a lot that falls below nothing is to be counted again."""
    assert lot.id is not None
    row = Movement(
        item_id=lot.item_id,
        lot_id=lot.id,
        at=now,
        by_name=author.name,
        by_id=author.id,
        **vars(wanted),
    )
    session.add(row)
    lot.on_hand += wanted.change
    if lot.on_hand < NOTHING and lot.recount_since is None:
        ask_recount(lot, f"More was taken than the book had: it says {shown(lot.on_hand)}", now)
    session.add(lot)
    _flushed(session)
    if wanted.corrects is None:
        _took(session, lot.item_id, wanted.kind, wanted.change, now)
    return row


def ask_recount(lot: Lot, why: str, now: datetime) -> None:
    """Have the lot counted again."""
    lot.recount_since, lot.recount_why = now, why


def _flushed(session: Session) -> None:
    try:
        session.flush()
    except IntegrityError as problem:
        raise Conflict("This form was sent already. Look at the item before you send it again.") from problem


def _took(session: Session, item_id: int, kind: str, change: Decimal, at: datetime) -> None:
    if kind in TAKES and change:
        _reckon(_month(session, item_id, at), kind, NOTHING, change)


def took_otherwise(session: Session, first: Movement, before: Decimal, after: Decimal) -> None:
    """What a month took, when one of its movements is corrected from the change `before` to `after`."""
    if first.kind in TAKES:
        _reckon(_month(session, first.item_id, first.at), first.kind, before, after)


def _reckon(row: Demand, kind: str, before: Decimal, after: Decimal) -> None:
    row.taken += before - after
    if kind in WRITTEN_DOWN:
        row.recorded += before - after
        row.squares = max(0.0, row.squares + float(after) ** 2 - float(before) ** 2)
        row.takings += bool(after) - bool(before)


def _month(session: Session, item_id: int, at: datetime) -> Demand:
    month = f"{at:%Y-%m}"
    row = session.get(Demand, (item_id, month), populate_existing=True)
    if row is None:
        row = Demand(item_id=item_id, month=month)
    session.add(row)
    return row


def corrections(session: Session, first: Movement) -> Sequence[Movement]:
    """What was written later to correct this movement, oldest first."""
    query = select(Movement).where(Movement.corrects == first.id).order_by(col(Movement.id))
    return session.exec(query).all()


def sent_before(session: Session, once: str | None) -> bool:
    """Whether a form of this number was stored already."""
    return bool(once) and session.exec(select(Movement.id).where(Movement.once == once)).first() is not None
