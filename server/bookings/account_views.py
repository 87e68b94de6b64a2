"""What the page of the accounts shows: each group, of which kind it is, what it pays from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import Session

from server.bookings import accounts, fairness
from server.bookings.account_models import Account
from server.bookings.models import Group
from server.people.models import Person


@dataclass(frozen=True)
class Purse:
    """One group with its accounts."""

    group: Group
    accounts: Sequence[Account]
    valid: bool
    """True when one of them holds today."""


@dataclass(frozen=True)
class AccountsView:
    """The page."""

    purses: Sequence[Purse]
    may_write: bool
    used: bool
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


def page(
    session: Session,
    person: Person,
    today: date,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> AccountsView:
    """Every group for a steward; their own for others."""
    rows = accounts.current(session)
    groups = fairness.groups(session) if person.steward else fairness.groups_of(session, person)
    purses = [_purse(group, rows.get(group.id or 0, []), today) for group in groups]
    return AccountsView(purses, person.steward, bool(rows), typed or {}, faults or {})


def _purse(group: Group, rows: Sequence[Account], today: date) -> Purse:
    return Purse(group, rows, accounts.holds(rows, today) is not None)
