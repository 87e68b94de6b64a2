"""The desk of the bookings, with two groups, rates, and an account."""

from datetime import date

import pytest

from server.bookings import accounts
from server.bookings.models import Group, Member
from server.charges import service
from server.charges.rates import Entered
from server.charges.rules import RATED
from tests.bookings.conftest import NOW, Desk, desk

__all__ = ["desk"]
PER_HOUR = {"cold": "10", "changeover": "4", "warm": "2,50", "assisted": "30"}


def rated(desk: Desk, kind: str = "internal", day: date = date(2026, 1, 1)) -> None:
    """Rates for every kind of hours."""
    for what in RATED:
        service.enter_rate(desk.session, desk.ada, Entered(kind, what, PER_HOUR[what], "EUR", day), NOW)


@pytest.fixture
def optics(desk: Desk) -> Group:
    """The group of Ben, with an account for the year."""
    group = Group(name="Optics")
    desk.session.add(group)
    desk.session.flush()
    desk.session.add(Member(group_id=group.id or 0, person_id=desk.ben.id or 0))
    wanted = accounts.Entered("A-17", date(2026, 1, 1), date(2026, 12, 31))
    accounts.enter(desk.session, desk.ada, group.id or 0, wanted, NOW)
    return group
