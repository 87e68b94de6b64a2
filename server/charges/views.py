"""What the pages of the charges show: a month, one line, the rates."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import Session

from server.bookings import fairness
from server.charges import finding, rates
from server.charges.finding import Told
from server.charges.making import NO_GROUP
from server.charges.models import Rate
from server.charges.rules import HOUR_S, RATED, STATES, WORDS, shown
from server.people.models import Person


@dataclass(frozen=True)
class Sum:
    """What one payer comes to in one currency."""

    payer: str
    account: str
    amount: str
    currency: str
    disputed: int


@dataclass(frozen=True)
class MonthView:
    """The lines of a month."""

    month: str
    months: Sequence[str]
    rows: Sequence[Told]
    sums: Sequence[Sum]
    may_make: bool
    gaps: Sequence[str] = ()
    faults: Mapping[str, str] = field(default_factory=dict)
    typed: str = ""

    words = WORDS
    states = STATES

    @staticmethod
    def hours(told: Told) -> str:
        """The hours of a line with its corrections; empty where it has none."""
        return f"{told.seconds / HOUR_S:.2f} h" if told.line.seconds else ""

    @staticmethod
    def amount(told: Told) -> str:
        """What it comes to."""
        return f"{shown(told.cents)} {told.line.currency}".strip()


def month(
    session: Session,
    person: Person,
    number: str,
    gaps: Sequence[str] = (),
    faults: Mapping[str, str] | None = None,
    typed: str = "",
) -> MonthView:
    """The page of a month."""
    rows = finding.of_month(session, person, number)
    return MonthView(
        month=number,
        months=finding.months(session, person),
        rows=rows,
        sums=_sums(rows),
        may_make=person.steward,
        gaps=gaps,
        faults=faults or {},
        typed=typed or number,
    )


def _sums(rows: Sequence[Told]) -> list[Sum]:
    found: dict[tuple[str, str, str], list[Told]] = {}
    for row in rows:
        if row.line.currency:
            found.setdefault((row.line.payer, row.line.account, row.line.currency), []).append(row)
    return [
        Sum(payer, account, shown(sum(row.cents for row in told)), currency, _disputed(told))
        for (payer, account, currency), told in found.items()
    ]


def _disputed(rows: Sequence[Told]) -> int:
    return sum(row.state == "disputed" for row in rows)


@dataclass(frozen=True)
class LineView:
    """One line with what was said."""

    told: Told
    may_answer: bool
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    conflict: str = ""

    words = WORDS
    states = STATES
    hours = staticmethod(MonthView.hours)
    amount = staticmethod(MonthView.amount)
    shown = staticmethod(shown)


@dataclass(frozen=True)
class RatesView:
    """The rates that hold, and every one ever entered."""

    holding: Sequence[Rate]
    entries: Sequence[Rate]
    kinds: Sequence[str]
    may_write: bool
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)

    words = RATED
    shown = staticmethod(shown)
    choices = tuple(RATED.items())


def rate_page(
    session: Session,
    person: Person,
    today: date,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> RatesView:
    """The page of the rates."""
    rows = rates.entries(session)
    held = sorted(rates.holding(rows, today).items())
    kinds = {row.kind for row in fairness.groups(session)} | {row.group_kind for row in rows} | {NO_GROUP}
    return RatesView([row for _, row in held], rows, sorted(kinds), person.steward, typed or {}, faults or {})
