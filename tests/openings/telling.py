"""An opening told step by step, as people write it down."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session, select

from server.cryostats.models import Cryostat
from server.openings import kinds, service
from server.openings.models import OpeningEntry
from server.openings.service import Written
from server.people.models import Person
from server.people.service import CommandLine
from server.stock import moving, starter
from server.stock.models import Item, Lot
from server.stock.moving import Receipt
from server.stock.rules import exact

VENT = {"gas": "nitrogen", "oxygen": 0.209, "coldest_K": 294.0, "relief_free": True}
PARKED = dict.fromkeys(kinds.PARKING, True)


def stock_up(session: Session, at: datetime, **amounts: str) -> dict[str, Item]:
    """The first set laid out; of each named item, dashes as underscores, one lot of so much."""
    starter.lay_out(session, CommandLine(), [row.key for row in starter.starter()], at)
    found = {item.key: item for item in session.exec(select(Item)).all()}
    for name, amount in amounts.items():
        item = found[name.replace("_", "-")]
        assert item.id is not None
        moving.receive(session, CommandLine(), Receipt(item.id, exact(float(amount))), at)
    return found


def on_hand(session: Session, item: Item) -> float:
    """What the book has of it."""
    lots = session.exec(select(Lot).where(Lot.item_id == item.id)).all()
    return float(sum(lot.on_hand for lot in lots))


def say(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    number: int,
    kind: str,
    at: datetime,
    data: Mapping[str, Any] | None = None,
    note: str = "",
) -> OpeningEntry:
    """One entry at its own time."""
    return service.enter(session, person, cryostat.slug, number, Written(kind, data or {}, at, note), at)


def opened(session: Session, person: Person, cryostat: Cryostat, at: datetime, why: str = "Sample") -> int:
    """A slip up to the lid being off; its number."""
    number = service.start(session, person, cryostat, why, at).opening.number
    say(session, person, cryostat, number, kinds.VENT, at, VENT)
    say(session, person, cryostat, number, kinds.LID_OFF, at + timedelta(minutes=30))
    return number


def whole(session: Session, person: Person, cryostat: Cryostat, at: datetime) -> int:
    """A slip from nothing to pumped down, open for three hours, one ring greased; its number."""
    number = opened(session, person, cryostat, at)
    hour = timedelta(hours=1)
    ring = {"where": "Lid", "done": "greased"}
    say(session, person, cryostat, number, kinds.RING, at + hour, ring)
    say(session, person, cryostat, number, kinds.TRAY, at + hour, {"out": 8, "in": 8})
    say(session, person, cryostat, number, kinds.BUILT, at + 2 * hour)
    closed = {"list_words": "Paper list used"}
    say(session, person, cryostat, number, kinds.CLOSE, at + 3 * hour, closed)
    say(session, person, cryostat, number, kinds.PUMPED, at + 9 * hour)
    return number
