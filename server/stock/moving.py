"""What people do at the shelf: receive, count, discard, open a container."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session, col, select

from server.errors import NotFound, Refused
from server.history import service as history
from server.stock import posting
from server.stock.models import NOTHING, Item, Lot, Movement, Order
from server.stock.posting import Posted
from server.stock.rules import BadAmount, apart, exact, in_order, shown
from server.stock.service import NOT_STORED, Taking, some, subject

MOST_CONTAINERS = 50


@dataclass(frozen=True)
class Receipt:
    """What came: `amount` in each of `containers`, with what stands on them; `price` for one unit if told."""

    item_id: int
    amount: Decimal
    containers: int = 1
    sealed: bool = False
    code: str = ""
    place: str = ""
    expires_on: date | None = None
    cured_on: date | None = None
    price: Decimal | None = None
    because: str = ""
    once: str | None = None

    @property
    def is_plain(self) -> bool:
        """Whether nothing tells it from what lies in the drawer already."""
        return not (self.sealed or self.code or self.expires_on or self.cured_on)


def receive(session: Session, person: history.Author, receipt: Receipt, now: datetime) -> Sequence[Lot]:
    """Take in what came: a lot for each container, or into the open drawer what has no marks of its own."""
    each, item = some(receipt.amount), posting.lock(session, receipt.item_id)
    if not 1 <= receipt.containers <= MOST_CONTAINERS:
        raise Refused(NOT_STORED, {"containers": f"Enter a number from 1 to {MOST_CONTAINERS}"})
    lots = _lots_for(session, item, receipt, posting.today(session, now))
    for number, lot in enumerate(lots):
        once = None if number else receipt.once
        posting.post(session, person, lot, Posted("received", each, receipt.because, once=once), now)
    came = each * receipt.containers
    _arrived(session, receipt.item_id, came, now)
    if receipt.price is not None:
        item.price = receipt.price
        session.add(item)
    line = f"{shown(came, item.unit)} of {item.name} received"
    history.note(session, person, subject(item.key), line, now, {"lots": [lot.id for lot in lots]})
    return lots


def _lots_for(session: Session, item: Item, receipt: Receipt, today: date) -> list[Lot]:
    place = receipt.place or item.place
    if receipt.is_plain:
        drawer = _drawer(session, receipt.item_id, place)
        return [drawer or _laid(session, Lot(item_id=receipt.item_id, place=place, received_on=today))] * (
            receipt.containers
        )
    return [
        _laid(
            session,
            Lot(
                item_id=receipt.item_id,
                code=_numbered(receipt, number),
                place=place,
                received_on=today,
                expires_on=receipt.expires_on,
                cured_on=receipt.cured_on,
                sealed=receipt.sealed,
            ),
        )
        for number in range(1, receipt.containers + 1)
    ]


def _numbered(receipt: Receipt, number: int) -> str:
    if receipt.containers == 1:
        return receipt.code
    return f"{receipt.code} {number}/{receipt.containers}".strip()


def _laid(session: Session, lot: Lot) -> Lot:
    session.add(lot)
    session.flush()
    return lot


def _drawer(session: Session, item_id: int, place: str) -> Lot | None:
    """The lot of this item in which what has no marks lies loose."""
    query = select(Lot).where(
        Lot.item_id == item_id,
        Lot.place == place,
        Lot.code == "",
        col(Lot.sealed).is_(False),
        col(Lot.expires_on).is_(None),
        col(Lot.cured_on).is_(None),
    )
    return session.exec(query.order_by(col(Lot.id).desc()).limit(1)).first()


def _arrived(session: Session, item_id: int, amount: Decimal, now: datetime) -> None:
    """What came is no longer on order, the oldest order first."""
    query = select(Order).where(Order.item_id == item_id, col(Order.ended_at).is_(None))
    for row in session.exec(query.order_by(col(Order.id))).all():
        part = min(row.left, amount)
        row.left, amount = row.left - part, amount - part
        if row.left == NOTHING:
            row.ended_at = now
        session.add(row)


@dataclass(frozen=True)
class Counted:
    """What a count said: the book before it, what was found, and whether to count once more."""

    lot: Lot
    book: Decimal
    found: Decimal
    again: bool


def count(
    session: Session,
    person: history.Author,
    lot_id: int,
    found: Decimal,
    now: datetime,
    once: str | None = None,
) -> Counted:
    """Write down what lies in a lot. Where book and count are far apart it is to be counted once more.

    The difference is a movement of its own: the book before, and the leak, stay to be seen.
    """
    lot = session.get(Lot, lot_id)
    if lot is None:
        raise NotFound("There is no such lot.")
    item = posting.lock(session, lot.item_id)
    lot = posting.lot_of(session, item, lot_id)
    book, seen = lot.on_hand, _amount(found)
    far = _was_moved(session, lot) and apart(book, seen) > item.recount_share
    lot.counted_at, lot.recount_since, lot.recount_why = now, None, ""
    if far:
        posting.ask_recount(lot, f"The book said {shown(book, item.unit)}, {shown(seen)} was counted", now)
    posting.post(session, person, lot, Posted("counted", seen - book, found=seen, once=once), now)
    line = f"{item.name} counted: {shown(seen, item.unit)}, the book said {shown(book)}"
    history.note(session, person, subject(item.key), line, now, {"lot": lot_id})
    return Counted(lot, book, seen, far)


def _was_moved(session: Session, lot: Lot) -> bool:
    """Whether the book can be wrong at all: the first count of a lot is its beginning."""
    return session.exec(select(Movement.id).where(Movement.lot_id == lot.id).limit(1)).first() is not None


def _amount(found: Decimal) -> Decimal:
    try:
        return exact(found)
    except BadAmount as bad:
        raise Refused(NOT_STORED, {"found": str(bad)}) from None


def first_lot(session: Session, item_id: int, now: datetime) -> Lot:
    """Where a count of an item of which nothing lies here is written: its drawer, or its first lot."""
    item = posting.lock(session, item_id)
    drawer = _drawer(session, item_id, item.place)
    return drawer or _laid(
        session, Lot(item_id=item_id, place=item.place, received_on=posting.today(session, now))
    )


def discard(session: Session, person: history.Author, taking: Taking, now: datetime) -> Sequence[Movement]:
    """Throw something away, with the reason; never more than the book has."""
    wanted, item = some(taking.amount), posting.lock(session, taking.item_id)
    why = taking.because.strip()
    if not why:
        raise Refused(NOT_STORED, {"because": "Enter why it is thrown away"})
    present = posting.present_lots(session, taking.item_id)
    chosen = [lot for lot in present if taking.lot_id in (None, lot.id)]
    # What is past its date goes out first.
    lots = [
        lot for lot in reversed(in_order(item, chosen, posting.today(session, now))) if lot.on_hand > NOTHING
    ]
    rows = [
        posting.post(
            session, person, lot, Posted("discarded", -part, why, once=None if n else taking.once), now
        )
        for n, (lot, part) in enumerate(_within(lots, wanted, item))
    ]
    line = f"{shown(wanted, item.unit)} of {item.name} discarded: {why}"
    history.note(session, person, subject(item.key), line, now, {"movements": [row.id for row in rows]})
    return rows


def _within(lots: Sequence[Lot], wanted: Decimal, item: Item) -> list[tuple[Lot, Decimal]]:
    parts, left = [], wanted
    for lot in lots:
        part = min(left, lot.on_hand)
        if part > NOTHING:
            parts.append((lot, part))
            left -= part
    if left > NOTHING:
        have = shown(wanted - left, item.unit)
        raise Refused(NOT_STORED, {"amount": f"The book has {have}. Count it first"})
    return parts


def open_lot(session: Session, person: history.Author, lot_id: int, on: date, now: datetime) -> Lot:
    """A sealed container was opened on a day."""
    lot = session.get(Lot, lot_id)
    if lot is None:
        raise NotFound("There is no such lot.")
    item = posting.lock(session, lot.item_id)
    lot = posting.lot_of(session, item, lot_id)
    if on > posting.today(session, now) or on < lot.received_on:
        raise Refused(NOT_STORED, {"opened_on": "Enter a day between its receipt and today"})
    lot.opened_on = on
    session.add(lot)
    line = f"{item.name}: lot {lot.code or lot.id} opened on {on.isoformat()}"
    history.note(session, person, subject(item.key), line, now, {"lot": lot_id})
    return lot
