"""The demo's money: rates for its groups, an account each, and the lines of the month so far."""

from datetime import date, datetime

from sqlmodel import Session

from server.bookings import accounts, fairness
from server.charges import service
from server.charges.rates import Entered
from server.people.models import Person

PER_HOUR = {"cold": "9.50", "changeover": "14", "warm": "4", "assisted": "45"}


def tell(session: Session, people: dict[str, Person], at: datetime) -> None:
    """Rates from the first day of the year before, so that whatever the demo books is covered."""
    steward, first = people["quill"], date(at.year - 1, 1, 1)
    for what, per_hour in PER_HOUR.items():
        rate = Entered("internal", what, per_hour, "EUR", first, "As the users' meeting agreed")
        service.enter_rate(session, steward, rate, at)
    for number, group in enumerate(fairness.groups(session), 1):
        account = accounts.Entered(f"LT-{4070 + number}", first, None, "Invented")
        accounts.enter(session, steward, group.id or 0, account, at)
    service.make(session, steward, f"{at:%Y-%m}", at)
