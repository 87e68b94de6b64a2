"""What the stock room has to say: what is low, what goes bad, what is out and should be back."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime

from sqlmodel import Session

from server.notices.rules import (
    DUE,
    EXPIRING,
    EXPIRY_NOTICE,
    KNOW,
    LOW,
    SOON,
    STOPS,
    Notice,
    Reach,
    day_words,
)
from server.stock import board, lending
from server.stock.board import Line


def told(session: Session, reach: Reach, now: datetime, today: date) -> Iterator[Notice]:
    """For whoever may work on some cryostat; what is to be ordered is the steward's."""
    if not reach.operates(None):
        return
    lines = board.lines(session, now)
    yield from low(lines, steward=reach.steward)
    yield from expiring(lines, today)
    names = {line.item.id: line.item.name for line in lines}
    for loan in lending.open_loans(session):
        if loan.due_on <= today:
            name = names.get(loan.item_id, "An item no longer in use")
            what = f"{name}, lent out, was due back {day_words(loan.due_on, today)}"
            yield Notice(DUE, f"loan-{loan.id}", what, "Ask for it back", "/stock/loans", KNOW, loan.due_on)


def low(lines: Iterable[Line], *, steward: bool) -> Iterator[Notice]:
    """Items below their floor; for the steward also those to be ordered for another reason."""
    for line in lines:
        item, home = line.item, f"/stock/items/{line.item.key}"
        if line.outlook.short:
            weight = STOPS if item.stops_work else SOON
            coming = bool(line.standing.ordered)
            step = "See when it comes" if coming else "Order it" if steward else "Ask the steward to order it"
            address = "/stock/orders" if steward or coming else home
            yield Notice(LOW, f"low-{item.key}", f"{item.name}: {line.outlook.short}", step, address, weight)
        elif line.outlook.why and steward:
            what = f"{item.name}: {'; '.join(line.outlook.why)}"
            yield Notice(LOW, f"low-{item.key}", what, "Order it", "/stock/orders", KNOW)


def expiring(lines: Iterable[Line], today: date) -> Iterator[Notice]:
    """Items of which a lot that still holds something is past its last good day, or soon will be."""
    for line in lines:
        end = line.standing.ends_on
        if end is None or end > today + EXPIRY_NOTICE:
            continue
        past = end < today
        verb = "was good until" if past else "is good until"
        what = f"{line.item.name}: a lot {verb} {end.day} {end:%b %Y}"
        step = "Look, and discard it" if past else "Use it first, or order"
        address = f"/stock/items/{line.item.key}"
        yield Notice(EXPIRING, f"expiring-{line.item.key}", what, step, address, SOON if past else KNOW, end)
