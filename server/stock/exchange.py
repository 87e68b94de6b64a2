"""Lists of items in and out: a list is taken whole or not at all."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlmodel import Session, col, func, select

from server.errors import Refused
from server.history import service as history
from server.stock import columns, items, moving, posting, spec
from server.stock.columns import Faulty, Row
from server.stock.models import NOTHING, Item, Lot, Movement
from server.stock.moving import Receipt
from server.stock.service import NOT_STORED

CHUNK = 1000


@dataclass(frozen=True)
class Taken:
    """What a list changed: items entered, altered, and amounts set."""

    entered: int
    altered: int
    amounts: int


def bring(session: Session, author: history.Author, text: str, now: datetime) -> Taken:
    """Enter and alter what a list says. Refused with line and field of every fault; then nothing is changed.

    An amount of a new item is received; one that differs from the book is a count.
    """
    known = {row.key: row for row in session.exec(select(Item)).all()}
    try:
        rows = columns.read_items(text, {key: spec.of(item) for key, item in known.items()})
    except Faulty as faulty:
        raise Refused(NOT_STORED, faulty.faults) from None
    entered = altered = amounts = 0
    for row in rows:
        try:
            item = known.get(row.spec.key)
            if item is None:
                item, entered = items.add(session, author, row.spec, now), entered + 1
            elif row.spec != spec.of(item):
                items.alter(session, author, item.key, row.spec, item.version, now)
                altered += 1
            amounts += _set_amount(session, author, item, row, now)
        except Refused as refused:
            raise Refused(
                NOT_STORED, {f"line {row.line}, {name}": words for name, words in refused.fields.items()}
            ) from None
    return Taken(entered, altered, amounts)


def _set_amount(session: Session, author: history.Author, item: Item, row: Row, now: datetime) -> bool:
    assert item.id is not None
    lots = posting.present_lots(session, item.id)
    book = sum((lot.on_hand for lot in lots), NOTHING)
    if row.on_hand is None or row.on_hand == book:
        return False
    if len(lots) > 1:
        raise Refused(NOT_STORED, {"on_hand": f"There are {len(lots)} lots: count each on the count sheet"})
    if lots:
        assert lots[0].id is not None
        moving.count(session, author, lots[0].id, row.on_hand, now)
    else:
        moving.receive(session, author, Receipt(item.id, row.on_hand, because="From a list"), now)
    return True


def items_text(session: Session, style: str) -> str:
    """Every item with what the book has of it."""
    sums = select(Lot.item_id, func.sum(Lot.on_hand)).group_by(col(Lot.item_id))
    here: dict[int, Decimal] = dict(session.exec(sums).all())
    rows = session.exec(select(Item).order_by(Item.key)).all()
    return columns.items(((spec.of(row), here.get(row.id or 0, NOTHING)) for row in rows), style)


def movements_text(session: Session, style: str, item: Item | None = None) -> str:
    """Every movement, oldest first; of one item, or of all."""
    return columns.movements(_movements(session, item), style)


def _movements(session: Session, item: Item | None) -> Iterator[tuple[Movement, str, str, str]]:
    query = (
        select(Movement, Item.key, Item.unit, Lot.code)
        .join(Item, col(Item.id) == col(Movement.item_id))
        .join(Lot, col(Lot.id) == col(Movement.lot_id))
        .order_by(col(Movement.id))
    )
    if item is not None:
        query = query.where(Movement.item_id == item.id)
    yield from session.exec(query.execution_options(yield_per=CHUNK))
