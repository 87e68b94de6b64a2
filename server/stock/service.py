"""What work asks of the stock room: what lies there, what is promised, taking, and what would be short."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from sqlmodel import Session, col, func, select

from server.errors import NotFound, Refused
from server.history import service as history
from server.stock import posting
from server.stock.models import NOTHING, Item, Lot, Movement, Reservation
from server.stock.posting import Posted
from server.stock.rules import BadAmount, Standing, below_floor, exact, in_order, is_good, shares, shown

NOT_STORED = "Nothing was stored."


@dataclass(frozen=True)
class Amount:
    """What lies here of one item, what of it is promised, and what is left for others."""

    on_hand: Decimal
    reserved: Decimal
    free: Decimal


@dataclass(frozen=True)
class Short:
    """An item of which a piece of work would find too little, or leave too little behind."""

    item: Item
    wanted: Decimal
    free: Decimal
    missing: Decimal
    why: str


def subject(key: str) -> str:
    """Under which name the history keeps what concerns an item."""
    return f"stock/{key}"


def some(amount: Decimal | float, field: str = "amount") -> Decimal:
    """An amount above nothing; Refused at `field`."""
    try:
        made = exact(amount)
    except BadAmount as bad:
        raise Refused(NOT_STORED, {field: str(bad)}) from None
    if made <= NOTHING:
        raise Refused(NOT_STORED, {field: "Enter an amount above 0"})
    return made


def reserve(
    session: Session,
    person: history.Author,
    item_id: int,
    amount: Decimal | float,
    until: datetime,
    what_for: str,
    now: datetime,
) -> Reservation:
    """Promise an amount to some work until a moment. More than lies here may be promised: it is then ordered.

    Refused for an amount that is none, a moment that has passed, or no word of what it is for.
    """
    wanted, item = some(amount), posting.lock(session, item_id)
    if not what_for.strip():
        raise Refused(NOT_STORED, {"what_for": "Enter what it is for"})
    if until <= now:
        raise Refused(NOT_STORED, {"until": "Enter a moment still to come"})
    row = Reservation(
        item_id=item_id,
        amount=wanted,
        left=wanted,
        until=until,
        what_for=what_for.strip(),
        made_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    line = f"{shown(wanted, item.unit)} of {item.name} promised to {row.what_for}"
    history.note(session, person, subject(item.key), line, now, {"reservation": row.id})
    return row


def release(session: Session, person: history.Author, reservation_id: int, now: datetime) -> Reservation:
    """End a promise; one that has ended is left as it is. NotFound."""
    row = session.get(Reservation, reservation_id)
    if row is None:
        raise NotFound("There is no such reservation.")
    item = posting.lock(session, row.item_id)
    session.refresh(row)
    if row.ended_at is None:
        row.ended_at = now
        session.add(row)
        line = f"{shown(row.left, item.unit)} of {item.name} no longer promised to {row.what_for}"
        history.note(session, person, subject(item.key), line, now, {"reservation": row.id})
    return row


@dataclass(frozen=True)
class Taking:
    """What somebody took. With `beyond`, also more than the book has; `once` is the number of the form."""

    item_id: int
    amount: Decimal | float
    because: str
    lot_id: int | None = None
    reservation_id: int | None = None
    beyond: bool = True
    once: str | None = None


def use(
    session: Session,
    person: history.Author,
    item_id: int,
    amount: Decimal | float,
    because: str,
    now: datetime,
    lot_id: int | None = None,
    reservation_id: int | None = None,
) -> Sequence[Movement]:
    """Write down that something was used: out of one lot, or of several, opened ones and older ones first.

    What work has taken is taken: where the book has less it goes below nothing and asks for a count. The
    movements, one a lot. Refused for an amount that is none; NotFound.
    """
    return take(session, person, Taking(item_id, amount, because, lot_id, reservation_id), now)


def take(session: Session, person: history.Author, taking: Taking, now: datetime) -> Sequence[Movement]:
    """As `use`; more than the book has is Refused where the taking does not say that it goes beyond."""
    wanted, item = some(taking.amount), posting.lock(session, taking.item_id)
    promise = _promise(session, item, taking.reservation_id)
    lots = lots_for(session, item, taking.lot_id, now)
    have = sum((max(lot.on_hand, NOTHING) for lot in lots), NOTHING)
    if wanted > have and not taking.beyond:
        raise Refused(NOT_STORED, {"amount": f"The book has {shown(have, item.unit)}. Count it, or say so"})
    because, today = taking.because.strip(), posting.today(session, now)
    rows: list[Movement] = []
    for lot, part in shares(lots, wanted):
        unseal(lot, today)
        once = None if rows else taking.once
        posted = Posted("used", -part, because, reservation_id=taking.reservation_id, once=once)
        rows.append(posting.post(session, person, lot, posted, now))
    if promise is not None:
        _taken_from(session, promise, wanted, now)
    line = f"{shown(wanted, item.unit)} of {item.name} used{': ' if because else ''}{because}"
    history.note(session, person, subject(item.key), line, now, {"movements": [row.id for row in rows]})
    return rows


def lots_for(session: Session, item: Item, lot_id: int | None, now: datetime) -> Sequence[Lot]:
    """The lot that was named, or those a hand would go to in turn; never none."""
    assert item.id is not None
    if lot_id is not None:
        return [posting.lot_of(session, item, lot_id)]
    present = in_order(item, posting.present_lots(session, item.id), posting.today(session, now))
    return present or [_any_lot(session, item, now)]


def _any_lot(session: Session, item: Item, now: datetime) -> Lot:
    """Of an item of which nothing lies here, the newest lot there ever was, or a first one."""
    assert item.id is not None
    query = select(Lot).where(Lot.item_id == item.id).order_by(col(Lot.id).desc()).limit(1)
    found = session.exec(query).first()
    if found is None:
        found = Lot(item_id=item.id, place=item.place, received_on=posting.today(session, now))
        session.add(found)
        session.flush()
    return found


def unseal(lot: Lot, today: date) -> None:
    """A container that is taken from is open from then on."""
    if lot.sealed and lot.opened_on is None:
        lot.opened_on = today


def _promise(session: Session, item: Item, reservation_id: int | None) -> Reservation | None:
    if reservation_id is None:
        return None
    row = session.get(Reservation, reservation_id, populate_existing=True)
    if row is None or row.item_id != item.id:
        raise NotFound(f"There is no such reservation of {item.name}.")
    return row


def _taken_from(session: Session, promise: Reservation, amount: Decimal, now: datetime) -> None:
    promise.left = max(promise.left - amount, NOTHING)
    if promise.left == NOTHING and promise.ended_at is None:
        promise.ended_at = now
    session.add(promise)


def promised(session: Session, at: datetime | None = None) -> Mapping[int, Decimal]:
    """Item → what is promised of it. With `at`, without what was promised only until before then."""
    query = select(Reservation.item_id, func.sum(Reservation.left)).where(col(Reservation.ended_at).is_(None))
    if at is not None:
        query = query.where(Reservation.until >= at)
    return dict(session.exec(query.group_by(col(Reservation.item_id))).all())


def amounts(session: Session, at: datetime | None = None) -> Mapping[int, Amount]:
    """Item → what lies here, is promised, is free.

    With `at`, what is past its date, or promised only until before then, is left out.
    An item of which nothing was ever received is there with nothing.
    """
    by_id = {item.id: item for item in session.exec(select(Item)).all()}
    here = dict.fromkeys(by_id, NOTHING)
    free, today = dict(here), posting.today(session, at) if at else None
    for lot in posting.present_lots(session):
        here[lot.item_id] += lot.on_hand
        if today is None or is_good(by_id[lot.item_id], lot, today):
            free[lot.item_id] += lot.on_hand
    reserved = promised(session, at)
    return {
        key: Amount(here[key], reserved.get(key, NOTHING), free[key] - reserved.get(key, NOTHING))
        for key in here
        if key is not None
    }


def short_for(
    session: Session, wanted: Iterable[tuple[int, Decimal | float]], at: datetime | None = None
) -> Sequence[Short]:
    """Which of these amounts are not free, or would leave an item that stops work below its floor."""
    have, short = amounts(session, at), []
    for item_id, amount in wanted:
        item = session.get(Item, item_id)
        if item is None:
            raise NotFound("There is no such item in the stock room.")
        free, asked = have[item_id].free, exact(amount)
        if free < asked:
            why = f"{shown(free, item.unit)} free, {shown(asked, item.unit)} wanted"
            short.append(Short(item, asked, free, asked - max(free, NOTHING), why))
        elif item.stops_work and free - asked < item.floor:
            why = below_floor(item, Standing(usable=free - asked, sealed=item.floor_sealed))
            short.append(Short(item, asked, free, NOTHING, f"would leave {why}"))
    return short
