"""The stock room: items, lots, movements, loans, reservations, orders.

Movements are the truth and are never rewritten. What lies in a lot, and what was taken in a month, stand
beside them as totals that are kept in the same transaction as each movement, so that no page has to add up a
long book.
"""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Dialect
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Thousandths(sa.types.TypeDecorator[Decimal]):
    """An amount, kept as a whole number of thousandths: sums are exact, in any order, on every engine."""

    impl = sa.BigInteger
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, _dialect: Dialect) -> int | None:
        """To thousandths on the way in; a finer amount is refused."""
        if value is None:
            return None
        scaled = Decimal(value) * 1000
        if scaled != scaled.to_integral_value():
            raise ValueError("an amount is kept to a thousandth")
        return int(scaled)

    def process_result_value(self, value: Any, _dialect: Dialect) -> Decimal | None:
        """A decimal number on the way out; a sum comes from some engines as one already."""
        return None if value is None else Decimal(int(value)) / 1000


NOTHING = Decimal(0)


class Item(Row, table=True):
    """One thing that is used up, by its generic name. `key` is stable and stands in addresses."""

    __tablename__ = "stock_item"

    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    name: str
    specification: str = ""
    """Grade, alloy, size."""
    unit: str
    bin_code: str = ""
    """The laboratory's own mark on the drawer."""
    place: str = ""
    storage: str = ""
    cautions: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    """Codes of the caution cards that stand where it is taken."""
    hazard: str = ""
    """What to know about this very thing, in the laboratory's words."""
    allowed: list[dict[str, str]] = Field(default_factory=list, sa_type=sa.JSON)
    """What may stand in for it: `what` (an item's key or plain words) and `note`."""
    forbidden: list[dict[str, str]] = Field(default_factory=list, sa_type=sa.JSON)
    """What is not one, in the same form."""
    elsewhere: str = ""
    """Who else has it and lends."""
    stops_work: bool = False
    floor: Decimal = Field(default=NOTHING, sa_type=Thousandths)
    """The least that may lie here."""
    floor_sealed: int = 0
    """How many unopened lots must be among it."""
    full: Decimal | None = Field(default=None, sa_type=Thousandths)
    """Up to how much is ordered."""
    per_opening: Decimal | None = Field(default=None, sa_type=Thousandths)
    drawn_by: str = ""
    """Which work draws it, in words."""
    expected_yearly: Decimal | None = Field(default=None, sa_type=Thousandths)
    """What a year is thought to take, until the book has enough of its own."""
    lead_days: int | None = None
    price: Decimal | None = Field(default=None, sa_type=Thousandths)
    """Last paid, for one unit."""
    currency: str = ""
    shelf_days: int | None = None
    """How long it keeps unopened, from its cure or receipt."""
    open_days: int | None = None
    """How long it keeps once opened."""
    take_grade: int = 1
    """The grade, on any cryostat, with which a person may move it."""
    recount_share: float = 0.3
    """By which share book and count may differ before it is to be counted again."""
    service_level: float = 0.95
    """How often the stock is to last until a delivery comes."""
    retired: bool = False
    version: int = 1
    made_at: datetime = Field(sa_type=UTC)


class Lot(Row, table=True):
    """One tube, reel, bottle or bag: what is opened, expires and is counted as one."""

    __tablename__ = "stock_lot"
    __table_args__ = (sa.Index("ix_stock_lot_item", "item_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    item_id: int = Field(foreign_key="stock_item.id")
    code: str = ""
    """What the maker, or we, wrote on it."""
    place: str = ""
    received_on: date
    opened_on: date | None = None
    expires_on: date | None = None
    cured_on: date | None = None
    sealed: bool = False
    """Came closed, as a tube or a can does, so that opening it matters."""
    on_hand: Decimal = Field(default=NOTHING, sa_type=Thousandths, index=True)
    """The sum of its movements, kept with each of them."""
    counted_at: datetime | None = Field(default=None, sa_type=UTC)
    recount_since: datetime | None = Field(default=None, sa_type=UTC, index=True)
    recount_why: str = ""


class Loan(Row, table=True):
    """Something lent to a person or a laboratory, until it is back or known not to come."""

    __tablename__ = "stock_loan"

    id: int | None = Field(default=None, primary_key=True)
    item_id: int = Field(foreign_key="stock_item.id", index=True)
    lot_id: int = Field(foreign_key="stock_lot.id")
    borrower: str
    due_on: date
    outstanding: Decimal = Field(sa_type=Thousandths)
    lent_at: datetime = Field(sa_type=UTC)
    by_name: str
    ended_at: datetime | None = Field(default=None, sa_type=UTC, index=True)


class Reservation(Row, table=True):
    """An amount promised to some work until a moment."""

    __tablename__ = "stock_reservation"

    id: int | None = Field(default=None, primary_key=True)
    item_id: int = Field(foreign_key="stock_item.id", index=True)
    amount: Decimal = Field(sa_type=Thousandths)
    left: Decimal = Field(sa_type=Thousandths)
    """What of it was not taken yet."""
    until: datetime = Field(sa_type=UTC)
    what_for: str
    made_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None
    ended_at: datetime | None = Field(default=None, sa_type=UTC, index=True)


class Order(Row, table=True):
    """Something ordered that has not come yet."""

    __tablename__ = "stock_order"

    id: int | None = Field(default=None, primary_key=True)
    item_id: int = Field(foreign_key="stock_item.id", index=True)
    left: Decimal = Field(sa_type=Thousandths)
    """What of it has not come yet."""
    expected_on: date | None = None
    note: str = ""
    ordered_at: datetime = Field(sa_type=UTC)
    by_name: str
    ended_at: datetime | None = Field(default=None, sa_type=UTC, index=True)


class Movement(Row, table=True):
    """One change of what lies in a lot. A correction is a movement of the same kind that names the first."""

    __tablename__ = "stock_movement"
    __table_args__ = (sa.Index("ix_stock_movement_item", "item_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    item_id: int = Field(foreign_key="stock_item.id")
    lot_id: int = Field(foreign_key="stock_lot.id", index=True)
    kind: str
    """received, used, counted, lent, returned or discarded."""
    change: Decimal = Field(sa_type=Thousandths)
    """What it adds to the lot; below zero takes away."""
    found: Decimal | None = Field(default=None, sa_type=Thousandths)
    """Of a count, what was found."""
    corrects: int | None = Field(default=None, foreign_key="stock_movement.id", index=True)
    loan_id: int | None = Field(default=None, foreign_key="stock_loan.id", index=True)
    reservation_id: int | None = Field(default=None, foreign_key="stock_reservation.id")
    because: str = ""
    once: str | None = Field(default=None, unique=True)
    """The number of the form it came from, so that one press counts once."""
    at: datetime = Field(sa_type=UTC, index=True)
    by_name: str
    by_id: int | None = None


class Demand(Row, table=True):
    """What was taken of an item in one month, kept with each movement; also what a count finds missing."""

    __tablename__ = "stock_demand"

    item_id: int = Field(foreign_key="stock_item.id", primary_key=True)
    month: str = Field(primary_key=True)
    """As `2026-03`, in UTC."""
    taken: Decimal = Field(default=NOTHING, sa_type=Thousandths)
    recorded: Decimal = Field(default=NOTHING, sa_type=Thousandths)
    """What of it was written down when it was taken."""
    squares: float = 0.0
    """The sum of the squares of those takings, for the spread."""
    takings: int = 0


append_only(Movement)
