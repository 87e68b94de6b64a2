"""The count sheet: what to count, and a whole sheet of counts written down at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal

from sqlmodel import Session, col, func, select

from server.errors import NotFound, Refused
from server.history import service as history
from server.stock import board, moving
from server.stock.board import Line
from server.stock.models import Item, Lot
from server.stock.moving import Counted
from server.stock.rules import BadAmount, read_count
from server.stock.service import NOT_STORED

AT_ONCE = 12
"""How many things stand on one sheet: as many as one person counts in two minutes."""
NEVER = datetime(1, 1, 2, tzinfo=UTC)


@dataclass(frozen=True)
class Thing:
    """One thing to count: a lot, or an item of which nothing lies here. `field` names it in the form."""

    item: Item
    lot: Lot | None

    @property
    def field(self) -> str:
        """The name of its field."""
        return f"lot.{self.lot.id}" if self.lot else f"item.{self.item.id}"

    @property
    def place(self) -> str:
        """Where it lies."""
        return (self.lot.place if self.lot else "") or self.item.place

    @property
    def again(self) -> str:
        """Why it is to be counted once more; empty when it is not."""
        return self.lot.recount_why if self.lot and self.lot.recount_since else ""


def things(session: Session, now: datetime) -> list[Thing]:
    """Everything there is to count: what asks for it, then the longest uncounted, what stops work first."""
    last = _last_counts(session)
    found = [thing for line in board.lines(session, now) for thing in _of(line)]
    return sorted(found, key=lambda thing: _urgency(thing, last))


def _of(line: Line) -> list[Thing]:
    return [Thing(line.item, lot) for lot in line.lots] or [Thing(line.item, None)]


def _last_counts(session: Session) -> Mapping[int, datetime]:
    query = select(Lot.item_id, func.max(Lot.counted_at)).where(col(Lot.counted_at).is_not(None))
    rows = session.exec(query.group_by(col(Lot.item_id))).all()
    return {item_id: at for item_id, at in rows if at is not None}


def _urgency(thing: Thing, last: Mapping[int, datetime]) -> tuple[bool, datetime, bool, str]:
    counted = thing.lot.counted_at if thing.lot else last.get(thing.item.id or 0)
    return (not thing.again, counted or NEVER, not thing.item.stops_work, thing.item.name)


def sheet(every: Sequence[Thing], which: str, key: str = "") -> list[Thing]:
    """The things of one sheet by place: of one item, those to count again, all, or the next dozen."""
    if key:
        chosen = [thing for thing in every if thing.item.key == key]
    elif which == "again":
        chosen = [thing for thing in every if thing.again]
    else:
        chosen = list(every) if which == "all" else list(every[:AT_ONCE])
    return sorted(chosen, key=lambda thing: (thing.place, thing.item.name, thing.field))


def write(
    session: Session, person: history.Author, typed: Mapping[str, str], now: datetime, once: str | None
) -> list[Counted]:
    """Write down every count of a sheet; an empty field was not counted. Refused, whole, with each fault."""
    known = {thing.field: thing for thing in things(session, now)}
    found: dict[str, Decimal] = {}
    faults = {}
    for name, text in typed.items():
        if not text:
            continue
        if name not in known:
            raise NotFound("Something on this sheet is no longer there. Fetch the sheet again.")
        try:
            found[name] = read_count(text, known[name].item.unit)
        except BadAmount as bad:
            faults[name] = str(bad)
    if faults or not found:
        raise Refused(NOT_STORED, faults or {"count": "Enter at least one count"})
    # In one order everywhere, so that two sheets never wait for each other.
    names = sorted(found, key=lambda name: (known[name].item.id or 0, name))
    return [
        _one(session, person, known[name], found[name], now, None if number else once)
        for number, name in enumerate(names)
    ]


def _one(
    session: Session, person: history.Author, thing: Thing, found: Decimal, now: datetime, once: str | None
) -> Counted:
    assert thing.item.id is not None
    lot = thing.lot or moving.first_lot(session, thing.item.id, now)
    assert lot.id is not None
    return moving.count(session, person, lot.id, found, now, once)
