"""Invented items and what was done with them."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from server.stock.models import Item, Lot

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


def an_item(session: Session, key: str = "vacuum-grease", **fields: Any) -> Item:
    """An item nobody has moved yet."""
    made = Item(key=key, **{"name": key.replace("-", " ").capitalize(), "unit": "g", "made_at": AT, **fields})
    session.add(made)
    session.flush()
    return made


def a_lot(session: Session, item: Item, amount: str = "0", **fields: Any) -> Lot:
    """A lot of it that came with this much, as a movement."""
    from server.people.service import CommandLine
    from server.stock.posting import Posted, post

    assert item.id is not None
    made = Lot(item_id=item.id, received_on=AT.date(), **fields)
    session.add(made)
    session.flush()
    post(session, CommandLine(), made, Posted("received", Decimal(amount)), AT)
    return made
