"""An optional first set of items, laid out into an empty stock room when the steward wants it.

The set is `starter.csv`, a list as anybody may send one: what one cryostat at 45 openings a year uses up.
Quantities, shelf lives and lead times are from memory, with a wide margin; storage, cautions and substitutes
are common practice, no source. But: that samples have fallen off cold wax is told by a beamline's sample
mounting note; that new rings outgas and soak up solvents by college articles on vacuum; storage lives of
seals stand in SAE AS5316; the size codes in ISO 3601, AS568 and ISO 2861; the yearly check of torque tools
in ISO 6789. A laboratory replaces all of it with its own; the data sheet in force and local rules decide.
"""

from collections.abc import Collection, Sequence
from datetime import datetime
from functools import cache
from pathlib import Path

from sqlmodel import Session, select

from server.errors import Refused
from server.history import service as history
from server.stock import columns, items
from server.stock.models import Item
from server.stock.service import NOT_STORED
from server.stock.spec import Spec

LIST = Path(__file__).parent / "starter.csv"


@cache
def starter() -> Sequence[Spec]:
    """The items of the set, in the order of the list."""
    return tuple(row.spec for row in columns.read_items(LIST.read_text(encoding="utf-8"), {}))


def is_empty(session: Session) -> bool:
    """Whether there is no item at all."""
    return session.exec(select(Item.id).limit(1)).first() is None


def lay_out(session: Session, author: history.Author, keys: Collection[str], now: datetime) -> Sequence[Item]:
    """Enter these items of the set; Refused for none of them, or where there are items already."""
    chosen = [wanted for wanted in starter() if wanted.key in keys]
    if not chosen:
        raise Refused(NOT_STORED, {"key": "Tick at least one item"})
    if not is_empty(session):
        raise Refused(NOT_STORED, {"key": "There are items already. Enter what is missing, or bring a list"})
    return [items.add(session, author, wanted, now) for wanted in chosen]
