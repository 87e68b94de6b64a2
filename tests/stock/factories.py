"""Invented items and what was done with them."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from sqlmodel import Session, select

from server.people.service import CommandLine
from server.stock.models import NOTHING, Item, Lot, Movement
from server.stock.posting import Posted, post

BOTH = pytest.mark.parametrize(
    "database_url", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)], indirect=True
)
"""A test that is to hold on both engines."""
AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


def item_of(key: str = "vacuum-grease", **fields: Any) -> Item:
    """An item that is in no database."""
    return Item(key=key, **{"name": key.replace("-", " ").capitalize(), "unit": "g", "made_at": AT, **fields})


def an_item(session: Session, key: str = "vacuum-grease", **fields: Any) -> Item:
    """An item nobody has moved yet."""
    made = item_of(key, **fields)
    session.add(made)
    session.flush()
    return made


def a_lot(session: Session, item: Item, amount: str = "0", **fields: Any) -> Lot:
    """A lot of it that came with this much, as a movement."""
    assert item.id is not None
    made = Lot(item_id=item.id, **{"received_on": AT.date(), **fields})
    session.add(made)
    session.flush()
    post(session, CommandLine(), made, Posted("received", Decimal(amount)), AT)
    return made


def key_of(row: Item | Lot) -> int:
    """Its key in the database."""
    assert row.id is not None
    return row.id


def summed(session: Session, lot: Lot) -> Decimal:
    """The sum of a lot's movements, added up here."""
    rows = session.exec(select(Movement).where(Movement.lot_id == lot.id)).all()
    return sum((row.change for row in rows), NOTHING)
