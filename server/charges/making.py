"""The lines of a month: made with one press, and only those that are missing with the next."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.bookings import accounts, fairness
from server.bookings.account_models import Account
from server.bookings.models import Group
from server.charges import counting, rates, rules
from server.charges.counting import Told
from server.charges.models import ChargeLine, Rate
from server.charges.rules import CHANGEOVER, LOST, USED, WRITTEN, Counted
from server.errors import Conflict, Forbidden
from server.history import service as history
from server.laboratory import service as laboratory
from server.people.models import Person

NO_GROUP = "no group"


@dataclass(frozen=True)
class Made:
    """What a press made, and what could not be made, each with its reason."""

    lines: int
    gaps: tuple[str, ...]


@dataclass(frozen=True)
class _Book:
    """What every line needs."""

    month: str
    groups: Mapping[int | None, Group]
    accounts: Mapping[int, Sequence[Account]]
    rates: Sequence[Rate]


def make(session: Session, person: Person, month: str, now: datetime) -> Made:
    """Make the lines of a month that are not there yet. What has no rate is left out and named."""
    if not person.steward:
        raise Forbidden("Only a steward makes charge lines.")
    within = counting.span(month, laboratory.get(session).zone)
    book = _Book(
        month,
        {row.id: row for row in fairness.groups(session)},
        accounts.current(session),
        rates.entries(session),
    )
    there = _there(session, month)
    gaps: dict[str, None] = {}
    made = 0
    for told in counting.of_month(session, within, now):
        for line in _lines(session, book, told, gaps):
            if (line.booking_id, line.payer, line.what, line.ref) not in there:
                line.at, line.by_name, line.by_id = now, person.name, person.id
                session.add(line)
                made += 1
    _flush(session)
    history.note(session, person, "charges", f"{made} charge lines made for {month}", now)
    return Made(made, tuple(gaps))


def _there(session: Session, month: str) -> set[tuple[int, str, str, str]]:
    query = select(ChargeLine).where(ChargeLine.month == month, col(ChargeLine.corrects).is_(None))
    return {(row.booking_id, row.payer, row.what, row.ref) for row in session.exec(query).all()}


def _flush(session: Session) -> None:
    try:
        session.flush()
    except IntegrityError as twice:
        raise Conflict("Somebody else made the lines of this month just now.") from twice


def _lines(session: Session, book: _Book, told: Told, gaps: dict[str, None]) -> Iterator[ChargeLine]:
    """Every line of one booking."""
    for row in rules.counted(told.facts):
        yield from _divided(session, book, told, row, told.shares, gaps)
    for party, hours in told.left:
        left = Counted(
            CHANGEOVER, round(hours * rules.HOUR_S), WRITTEN, "left after the freeze: half of it", "left"
        )
        if left.seconds:
            yield from _divided(session, book, told, left, {party.group_id: 1.0}, gaps)
    for taken in told.taken:
        yield from _used(session, book, told, taken, gaps)


def _divided(
    session: Session,
    book: _Book,
    told: Told,
    row: Counted,
    shares: Mapping[int | None, float],
    gaps: dict[str, None],
) -> Iterator[ChargeLine]:
    parts = rules.split(row.seconds, {str(key): part for key, part in shares.items()})
    for key in shares:
        line = _bare(session, book, told, key, row.what, parts[str(key)])
        line.basis, line.why, line.ref = row.basis, row.why, row.ref
        rate = rates.holding(book.rates, line.day).get((line.group_kind, row.what))
        if row.what != LOST and rate is None:
            gaps[f"No rate for {rules.RATED[row.what]} of the kind “{line.group_kind}” on {line.day}"] = None
        elif line.seconds:
            _priced(line, rate)
            yield line


def _priced(line: ChargeLine, rate: Rate | None) -> None:
    """Hours at their rate; what was lost has none and costs nothing."""
    if rate is not None:
        line.cents_per_hour, line.currency = rate.cents_per_hour, rate.currency
        line.cents = rules.cents(line.seconds, rate.cents_per_hour)


def _used(
    session: Session, book: _Book, told: Told, taken: counting.Taken, gaps: dict[str, None]
) -> Iterator[ChargeLine]:
    item = taken.item
    if item.price is None:
        gaps[f"{item.name} has no price; what was used of it is not charged"] = None
        return
    whole = rules.money(item.price * taken.amount)
    parts = rules.split(whole, {str(key): part for key, part in told.shares.items()})
    for key in told.shares:
        line = _bare(session, book, told, key, USED, 0)
        line.basis, line.ref, line.cents, line.currency = WRITTEN, item.key, parts[str(key)], item.currency
        line.why = f"{taken.amount.normalize():f} {item.unit} of {item.name} at the price last paid"
        if line.cents:
            yield line


def _bare(
    session: Session, book: _Book, told: Told, group_id: int | None, what: str, seconds: int
) -> ChargeLine:
    """A line without its price."""
    day = laboratory.day_of(session, told.ended)
    group = book.groups.get(group_id)
    account = accounts.holds(book.accounts.get(group_id or 0, ()), day)
    assert told.booking.id is not None
    return ChargeLine(
        month=book.month,
        day=day,
        booking_id=told.booking.id,
        cryostat_id=told.booking.cryostat_id,
        group_id=group_id,
        payer=group.name if group else told.booking.owner_name,
        group_kind=group.kind if group else NO_GROUP,
        account=account.number if account else "",
        what=what,
        seconds=seconds,
        cents_per_hour=0,
        cents=0,
        currency="",
        basis="",
        why="",
        at=told.ended,
        by_name="",
    )
