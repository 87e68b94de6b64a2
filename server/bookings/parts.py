"""What an opening takes from the stock: whether it is there, and promising it once a booking is frozen."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from sqlmodel import Session, col, select

from server.bookings import writing
from server.bookings.models import Booking, BookingStep
from server.bookings.rules import NONE
from server.people.models import Person
from server.stock import service as stock
from server.stock.models import Item
from server.stock.rules import whole
from server.stock.service import Short

PROMISED = "Parts promised"


def wanted(session: Session, change: str) -> Sequence[tuple[Item, Decimal]]:
    """The items an opening takes, with the amount of each, pieces whole; nothing where nothing is opened."""
    if change == NONE:
        return []
    query = select(Item).where(col(Item.per_opening) > 0).order_by(Item.name)
    return [
        (row, whole(row.per_opening, row.unit))
        for row in session.exec(query).all()
        if row.per_opening is not None
    ]


def short(session: Session, change: str, at: datetime) -> Sequence[Short]:
    """What of it is not free."""
    rows = [(item.id, amount) for item, amount in wanted(session, change)]
    return stock.short_for(session, [(key, amount) for key, amount in rows if key is not None], at)


def promise(session: Session, person: Person, booking: Booking, now: datetime) -> None:
    """Promise a frozen booking what its opening takes, until its window begins."""
    if booking.window_starts is None or booking.window_starts <= now:
        return
    what_for = f"booking {booking.id} of {booking.owner_name}"
    keys = []
    for item, amount in wanted(session, booking.change):
        assert item.id is not None
        row = stock.reserve(session, person, item.id, amount, booking.window_starts, what_for, now)
        keys.append(row.id)
    if keys:
        writing.step(session, person, booking, PROMISED, now, "", {"reservations": keys})


def let_go(session: Session, person: Person, booking: Booking, now: datetime) -> None:
    """Give back what was promised to a booking that is given up."""
    query = select(BookingStep).where(BookingStep.booking_id == booking.id, BookingStep.what == PROMISED)
    for step in session.exec(query).all():
        for key in step.data["reservations"]:
            stock.release(session, person, int(key), now)
