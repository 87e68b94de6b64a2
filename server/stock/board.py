"""Every item as it stands, read with a constant number of queries however long the book is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

import sqlalchemy as sa
from sqlmodel import Session, col, func, select

from server.errors import NotFound
from server.stock import posting, service
from server.stock.models import NOTHING, Demand, Item, Loan, Lot, Order
from server.stock.outlook import Outlook, Taken, days_seen, months_back, outlook
from server.stock.rules import Standing, standing_of


@dataclass(frozen=True)
class Line:
    """One item, its lots that matter, how it stands and what follows."""

    item: Item
    lots: Sequence[Lot]
    standing: Standing
    outlook: Outlook


def lines(
    session: Session, now: datetime, item_id: int | None = None, *, retired: bool = False
) -> list[Line]:
    """Every item in use by name, or the one asked for; with `retired` those no longer in use as well."""
    query = select(Item).order_by(col(Item.name), col(Item.id))
    if item_id is not None:
        query = query.where(Item.id == item_id)
    elif not retired:
        query = query.where(col(Item.retired).is_(False))
    items, today = session.exec(query).all(), posting.today(session, now)
    lots: dict[int, list[Lot]] = {}
    for lot in posting.present_lots(session, item_id):
        lots.setdefault(lot.item_id, []).append(lot)
    reserved, lent, ordered = service.promised(session, now), _lent(session), on_order(session)
    taken = _taken(session, items, today)
    made = []
    for item in items:
        assert item.id is not None
        mine, key = lots.get(item.id, []), item.id
        stands = standing_of(
            item, mine, today, reserved.get(key, NOTHING), lent.get(key, NOTHING), ordered.get(key, NOTHING)
        )
        made.append(Line(item, mine, stands, outlook(item, stands, taken[key])))
    return made


def line(session: Session, item: Item, now: datetime) -> Line:
    """One item as it stands."""
    return lines(session, now, item.id)[0]


def find(session: Session, key: str) -> Item:
    """The item of this key; NotFound."""
    found = session.exec(select(Item).where(Item.key == key)).first()
    if found is None:
        raise NotFound(f"There is no “{key}” in the stock room.")
    return found


def _lent(session: Session) -> Mapping[int, Decimal]:
    query = select(Loan.item_id, func.sum(Loan.outstanding)).where(col(Loan.ended_at).is_(None))
    return dict(session.exec(query.group_by(col(Loan.item_id))).all())


def on_order(session: Session) -> Mapping[int, Decimal]:
    """Item → what is ordered and has not come."""
    query = select(Order.item_id, func.sum(Order.left)).where(col(Order.ended_at).is_(None))
    return dict(session.exec(query.group_by(col(Order.item_id))).all())


def _taken(session: Session, items: Sequence[Item], today: date) -> Mapping[int, Taken]:
    """Item → what was taken of it in the time looked back on."""
    query = (
        sa.select(
            col(Demand.item_id),
            func.sum(Demand.taken),
            func.sum(Demand.recorded),
            func.sum(Demand.squares),
            func.sum(Demand.takings),
        )
        .where(col(Demand.month) >= f"{months_back(today):%Y-%m}")
        .group_by(col(Demand.item_id))
    )
    sums = {row[0]: row[1:] for row in session.execute(query).all()}
    made = {}
    for item in items:
        assert item.id is not None
        amount, recorded, squares, takings = sums.get(item.id, (NOTHING, NOTHING, 0.0, 0))
        days = days_seen(item, today)
        made[item.id] = Taken(float(amount), float(recorded), float(squares), int(takings), days)
    return made
