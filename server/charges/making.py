"""The lines of a month: made with one press, and only those that are missing with the next."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from server.bookings import accounts, fairness
from server.bookings.account_models import Account
from server.bookings.models import Group
from server.charges import counting, finding, rates, rules
from server.charges.counting import Payer, Told
from server.charges.models import ChargeLine, Rate
from server.charges.rules import CHANGEOVER, LOST, USED, WRITTEN, Counted
from server.errors import Conflict, Forbidden
from server.history import service as history
from server.laboratory import service as laboratory
from server.people.models import Person

NO_GROUP = "no group"
ANEW = "counted anew: "


@dataclass(frozen=True)
class Made:
    """What a press made, and what could not be made, each with its reason."""

    lines: int
    gaps: tuple[str, ...]


Key = tuple[int, str, str, str]


@dataclass
class _Gaps:
    """What could not be made: in words, and which lines it would have been."""

    words: dict[str, None] = field(default_factory=dict)
    keys: set[Key] = field(default_factory=set)


@dataclass(frozen=True)
class _Book:
    """What every line needs."""

    month: str
    zone: ZoneInfo
    groups: Mapping[int | None, Group]
    accounts: Mapping[int, Sequence[Account]]
    rates: Sequence[Rate]
    gaps: _Gaps = field(default_factory=_Gaps)


def make(session: Session, person: Person, month: str, now: datetime) -> Made:
    """Make the lines of a month that are not there yet. What has no rate is left out and named.

    Where the book says otherwise by now of what was charged already, a line is added that corrects it; not
    where somebody disputed it, for then a steward has the word.
    """
    if not person.steward:
        raise Forbidden("Only a steward makes charge lines.")
    zone = laboratory.get(session).zone
    book = _Book(
        month,
        ZoneInfo(zone),
        {row.id: row for row in fairness.groups(session)},
        accounts.current(session),
        rates.entries(session),
    )
    rows = counting.of_month(session, counting.span(month, zone), now)
    wanted = {_key(line): line for told in rows for line in _lines(book, told)}
    there = {
        _key(row.line): row for row in finding.of_bookings(session, [row.booking.id or 0 for row in rows])
    }
    made = [line for key, line in wanted.items() if key not in there]
    made += [
        line for key, told in there.items() if (line := _mended(book, told, key, wanted.get(key))) is not None
    ]
    for line in made:
        line.at, line.by_name, line.by_id = now, person.name, person.id
        session.add(line)
    _flush(session)
    history.note(session, person, "charges", f"{len(made)} charge lines made for {month}", now)
    return Made(len(made), tuple(book.gaps.words))


def _key(line: ChargeLine) -> Key:
    return line.booking_id, line.payer, line.what, line.ref


def _mended(book: _Book, told: finding.Told, key: Key, now: ChargeLine | None) -> ChargeLine | None:
    """What brings a line to what the book says by now; None where nothing does, or people have the word."""
    if told.entries or key in book.gaps.keys:
        return None
    line = told.line
    seconds = now.seconds if now else 0
    used = line.what == USED
    # A price that rose since is no reason: of what was used, only another amount is.
    if used and now is not None and now.why == (told.corrections or [line])[-1].why.removeprefix(ANEW):
        return None
    cents = (now.cents if now else 0) if used else rules.cents(seconds, line.cents_per_hour)
    if (seconds, cents) == (told.seconds, told.cents):
        return None
    kept = line.model_dump(exclude={"id", "seconds", "cents", "why", "basis", "corrects", "month"})
    why = now.why if now else "nothing of it is left to charge"
    return ChargeLine(
        **kept,
        month=book.month,
        seconds=seconds - told.seconds,
        cents=cents - told.cents,
        why=ANEW + why,
        basis=now.basis if now else WRITTEN,
        corrects=line.id,
    )


def _flush(session: Session) -> None:
    try:
        session.flush()
    except IntegrityError as twice:
        raise Conflict("Somebody else made the lines of this month just now.") from twice


def _lines(book: _Book, told: Told) -> Iterator[ChargeLine]:
    """Every line of one booking."""
    for row in rules.counted(told.facts):
        yield from _divided(book, told, row, told.shares)
    for party, hours in told.left:
        seconds, why = round(hours * rules.HOUR_S), "left after the freeze: half of it"
        if seconds:
            left = Counted(CHANGEOVER, seconds, WRITTEN, why, f"left {party.person_id}")
            yield from _divided(book, told, left, {counting.payer(party.group_id, party.name): 1.0})
    for taken in told.taken:
        yield from _used(book, told, taken)


def _divided(book: _Book, told: Told, row: Counted, shares: Mapping[Payer, float]) -> Iterator[ChargeLine]:
    parts = rules.split(row.seconds, shares)
    for key in shares:
        line = _bare(book, told, key, row.what, parts[key])
        line.basis, line.why, line.ref = row.basis, row.why, row.ref
        rate = rates.holding(book.rates, line.day).get((line.group_kind, row.what))
        if row.what != LOST and rate is None and line.seconds:
            words = f"No rate for {rules.RATED[row.what]} of the kind “{line.group_kind}” on {line.day}"
            book.gaps.words[words] = None
            book.gaps.keys.add(_key(line))
        elif line.seconds:
            _priced(line, rate)
            yield line


def _priced(line: ChargeLine, rate: Rate | None) -> None:
    """Hours at their rate; what was lost has none and costs nothing."""
    if rate is not None:
        line.cents_per_hour, line.currency = rate.cents_per_hour, rate.currency
        line.cents = rules.cents(line.seconds, rate.cents_per_hour)


def _used(book: _Book, told: Told, taken: counting.Taken) -> Iterator[ChargeLine]:
    item = taken.item
    if item.price is None:
        book.gaps.words[f"{item.name} has no price; what was used of it is not charged"] = None
    parts = rules.split(rules.money((item.price or 0) * taken.amount), told.shares)
    for key in told.shares:
        line = _bare(book, told, key, USED, 0)
        line.basis, line.ref, line.cents, line.currency = WRITTEN, item.key, parts[key], item.currency
        if item.price is None:
            book.gaps.keys.add(_key(line))
        line.why = f"{taken.amount.normalize():f} {item.unit} of {item.name} at the price last paid"
        if line.cents:
            yield line


def _bare(book: _Book, told: Told, who: Payer, what: str, seconds: int) -> ChargeLine:
    """A line without its price."""
    day = told.ended.astimezone(book.zone).date()
    group = book.groups.get(who.group_id)
    account = accounts.holds(book.accounts.get(who.group_id or 0, ()), day)
    assert told.booking.id is not None
    return ChargeLine(
        month=book.month,
        day=day,
        booking_id=told.booking.id,
        cryostat_id=told.booking.cryostat_id,
        group_id=who.group_id,
        payer=group.name if group else who.person,
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
