"""The items themselves: entered, altered and retired by the steward; and what is ordered of them."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.stock import posting, spec
from server.stock.models import Item, Movement, Order
from server.stock.rules import shown
from server.stock.service import NOT_STORED, some, subject
from server.stock.spec import Spec


def add(session: Session, author: history.Author, wanted: Spec, now: datetime) -> Item:
    """Enter a new item; Refused with every field to mend, or where its key is taken."""
    wrong = spec.faults(wanted)
    if not wrong and by_key(session, wanted.key) is not None:
        wrong["key"] = f"Choose another key: there is “{wanted.key}” already"
    if wrong:
        raise Refused(NOT_STORED, wrong)
    row = Item(**spec.stored(wanted), made_at=now)
    session.add(row)
    _flushed(session, wanted.key)
    history.note(session, author, subject(row.key), f"{row.name} entered in the stock room", now)
    return row


def by_key(session: Session, key: str) -> Item | None:
    """The item of this key, if there is one."""
    return session.exec(select(Item).where(Item.key == key)).first()


def alter(
    session: Session, author: history.Author, key: str, wanted: Spec, base: int | None, now: datetime
) -> Item:
    """Alter what is said of an item. Its key stays; its unit too, once something of it was moved.

    NotFound; Conflict when somebody altered it since version `base`; Refused with the fields to mend.
    """
    found = by_key(session, key)
    if found is None or found.id is None:
        raise NotFound(f"There is no “{key}” in the stock room.")
    row = posting.lock(session, found.id)
    if base != row.version:
        raise Conflict(f"Somebody altered {row.name} in the meantime. Look at it, then try again.")
    _check(session, row, wanted)
    before = spec.written(spec.of(row))
    for name, value in spec.stored(wanted).items():
        setattr(row, name, value)
    row.version += 1
    session.add(row)
    after = spec.written(wanted)
    detail = {name: text for name, text in before.items() if text != after[name]}
    history.note(session, author, subject(row.key), f"{row.name} altered", now, {"before": detail})
    return row


def _check(session: Session, row: Item, wanted: Spec) -> None:
    wrong = spec.faults(wanted)
    if wanted.key != row.key:
        wrong["key"] = "The key stays: it stands on labels"
    if wanted.unit != row.unit and _moved(session, row):
        wrong["unit"] = (
            f"The unit stays {row.unit}: amounts were written down in it. Enter a new item instead"
        )
    if not wrong and wanted == spec.of(row):
        wrong["name"] = f"Nothing differs from version {row.version}"
    if wrong:
        raise Refused(NOT_STORED, wrong)


def _moved(session: Session, row: Item) -> bool:
    return session.exec(select(Movement.id).where(Movement.item_id == row.id).limit(1)).first() is not None


def _flushed(session: Session, key: str) -> None:
    try:
        session.flush()
    except IntegrityError as problem:
        raise Conflict(f"Somebody entered “{key}” in the meantime. Look at it, then try again.") from problem


def order(
    session: Session,
    author: history.Author,
    item_id: int,
    amount: Decimal,
    expected_on: date | None,
    note: str,
    now: datetime,
) -> Order:
    """Something was ordered; it counts as coming until it is received or withdrawn."""
    wanted, item = some(amount), posting.lock(session, item_id)
    if expected_on is not None and expected_on < posting.today(session, now):
        raise Refused(NOT_STORED, {"expected_on": "Enter today or a day to come"})
    row = Order(
        item_id=item_id, left=wanted, expected_on=expected_on, note=note, ordered_at=now, by_name=author.name
    )
    session.add(row)
    session.flush()
    line = f"{shown(wanted, item.unit)} of {item.name} ordered"
    history.note(session, author, subject(item.key), line, now, {"order": row.id})
    return row


def withdraw(session: Session, author: history.Author, order_id: int, now: datetime) -> Order:
    """An order will not come; one that has ended is left as it is. NotFound."""
    row = session.get(Order, order_id)
    if row is None:
        raise NotFound("There is no such order.")
    item = posting.lock(session, row.item_id)
    session.refresh(row)
    if row.ended_at is None:
        row.ended_at = now
        session.add(row)
        line = f"Order of {shown(row.left, item.unit)} of {item.name} withdrawn"
        history.note(session, author, subject(item.key), line, now, {"order": row.id})
    return row


def open_orders(session: Session, item_id: int | None = None) -> Sequence[Order]:
    """What is ordered and has not come, the oldest first; of one item, or of all."""
    query = select(Order).where(col(Order.ended_at).is_(None))
    if item_id is not None:
        query = query.where(Order.item_id == item_id)
    return session.exec(query.order_by(col(Order.id))).all()
