"""What an opening takes from the stock room: its usual amounts, and drawing them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_HALF_DOWN, Decimal
from typing import Any

from sqlmodel import Session, col, select

from server.errors import Refused
from server.openings import kinds, rules
from server.openings.finding import Sheet
from server.openings.models import OpeningEntry
from server.people.models import Person
from server.stock import correcting
from server.stock import service as stock
from server.stock.models import NOTHING, Item, Lot, Movement, Reservation
from server.stock.outlook import WHOLE
from server.stock.rules import BadAmount, exact
from server.stock.service import Short

GREASE, RINGS, GAS = "vacuum-grease", "o-ring", "nitrogen"
"""Items whose amount follows from the slip itself: rings greased, rings replaced, the gas let in."""


@dataclass(frozen=True)
class BillLine:
    """One item, and how much an opening like this one usually takes of it."""

    item: Item
    usual: Decimal


def items(session: Session) -> Sequence[Item]:
    """Every item that is kept, by name."""
    return session.exec(select(Item).where(col(Item.retired).is_(False)).order_by(Item.name)).all()


def lines(session: Session, entries: Sequence[OpeningEntry]) -> list[BillLine]:
    """All items, with what an opening with these entries is thought to take; 0 for most.

    It is the amount the stock room keeps for an opening, of the items without which none goes on.
    """
    return [BillLine(item, _usual(item, entries)) for item in items(session)]


def _usual(item: Item, entries: Sequence[OpeningEntry]) -> Decimal:
    # What does not stop work is an average over many openings: this one may have taken none of it.
    amount = item.per_opening or NOTHING if item.stops_work else NOTHING
    rings = [row.data["done"] for row in entries if row.kind == kinds.RING]
    vent = rules.last(entries, kinds.VENT)
    if item.key == RINGS:
        return Decimal(rings.count("replaced"))
    if item.key == GREASE and rings and not {"greased", "replaced"} & set(rings):
        return NOTHING
    if item.key == GAS and (vent is None or vent.data["gas"] != "nitrogen"):
        return NOTHING
    # Nobody takes half a glove: what is usual on average is rounded to whole pieces.
    return amount.quantize(Decimal(1), ROUND_HALF_DOWN) if item.unit in WHOLE else amount


def drawn(entries: Sequence[OpeningEntry]) -> bool:
    """Whether the bill was written."""
    return any(row.kind == kinds.USED for row in entries)


def short(session: Session, found: Sequence[BillLine], at: datetime) -> Sequence[Short]:
    """What of the usual amounts is not free, and stops work."""
    wanted = [(row.item.id, row.usual) for row in found if row.usual and row.item.id is not None]
    return [row for row in stock.short_for(session, wanted, at) if row.item.stops_work]


def amounts_read(session: Session, said: Mapping[str, Any]) -> dict[str, Decimal]:
    """Item → amount above nothing; Refused at `item.<key>` for what cannot be."""
    known = {item.key for item in items(session)}
    found, wrong = {}, {}
    for key, amount in said.items():
        try:
            made = exact(amount)
        except BadAmount as bad:
            wrong[f"item.{key}"] = str(bad)
            continue
        if key not in known:
            wrong[f"item.{key}"] = "There is no such item in the stock room"
        if made > NOTHING:
            found[key] = made
    if wrong:
        raise Refused("Nothing was drawn.", wrong)
    return found


def draw(
    session: Session, person: Person, sheet: Sheet, amounts: Mapping[str, Decimal], now: datetime
) -> list[dict[str, Any]]:
    """Take the amounts out of the stock room; what was promised to this opening comes first.

    More than the book has is taken as well: then the item asks to be counted, and nothing is held back.
    """
    by_key = {item.key: item for item in items(session)}
    promised = _promised(session, sheet)
    because = f"Opening {sheet.opening.number} of {sheet.cryostat.name}"
    told = []
    for key, amount in sorted(amounts.items()):
        item = by_key[key]
        assert item.id is not None
        promise = promised.get(item.id)
        rows = stock.use(session, person, item.id, amount, because, now, reservation_id=promise)
        told.append(
            {
                "key": key,
                "name": item.name,
                "unit": item.unit,
                "amount": str(amount.normalize()),
                "movements": [row.id for row in rows],
                "recount": _asks(session, rows),
            }
        )
    return told


def _promised(session: Session, sheet: Sheet) -> dict[int, int]:
    """Item → a promise to this opening, or to its draft, that has not ended."""
    query = select(Reservation).where(col(Reservation.ended_at).is_(None))
    opening, found = sheet.opening, {}
    for row in session.exec(query.order_by(col(Reservation.id).desc())).all():
        of_draft = opening.draft_id is not None and row.what_for == f"draft {opening.draft_id}"
        if row.id is not None and (row.id in opening.reservations or of_draft):
            found[row.item_id] = row.id
    return found


def _asks(session: Session, rows: Sequence[Movement]) -> bool:
    lots = [session.get(Lot, row.lot_id) for row in rows]
    return any(lot is not None and (lot.recount_since is not None or lot.on_hand < NOTHING) for lot in lots)


def give_back(session: Session, person: Person, entry: OpeningEntry, why: str, now: datetime) -> None:
    """What was drawn by an entry that is taken back was not used: each movement is corrected to nothing."""
    for row in entry.data.get("items", ()):
        for number in row["movements"]:
            correcting.correct(session, person, int(number), NOTHING, why, now)
