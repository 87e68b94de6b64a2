"""Tasks and lapses as notices: whom they reach, how heavy they are, on which day."""

from datetime import UTC, date, datetime

from server.cryostats.models import Cryostat
from server.maintenance.due import Due
from server.maintenance.models import Task
from server.maintenance.rules import LATER, OVERDUE, RETURN, SOON_DUE, Dates
from server.notices.rules import KNOW, SOON, STOPS, Reach
from server.notices.upkeep import lapses, tasks
from server.people.models import Person
from server.training.service import Lapse

AT = datetime(2026, 3, 14, 23, 30, tzinfo=UTC)
"""Half past midnight of the 15th in the laboratory."""
TODAY = date(2026, 3, 14)
BENCH = Cryostat(id=1, slug="bench-a", name="Bench A", stages=["vessel"], made_at=AT)
ADA = Reach(1, True)
OPERATOR = Reach(2, False, {1: 1})
ZONE = "Europe/Vienna"


def task(state: str, *, stops_work: bool = False, order_by: date | None = None) -> Due:
    row = Task(
        id=7,
        cryostat_id=1,
        kind="service",
        name="Adsorber",
        limits={},
        marks={},
        stops_work=stops_work,
        made_at=AT,
        by_name="Ada",
    )
    dates = Dates(None, AT, None)
    return Due(row, BENCH, dates, state, "900 h left", "Order it", "/here", (), (), order_by)


def test_a_task_is_told_on_the_laboratorys_day_and_to_be_ordered_before_it_is_due() -> None:
    (due,) = tasks([task(SOON_DUE)], ADA, ZONE, TODAY)
    assert (due.on, due.weight, due.address) == (date(2026, 3, 15), KNOW, "/here")
    assert "due tomorrow" in due.what
    (order,) = tasks([task(SOON_DUE, order_by=date(2026, 3, 10))], ADA, ZONE, TODAY)
    assert (order.on, "to be ordered 4 days ago" in order.what) == (date(2026, 3, 10), True)


def test_users_hear_of_a_task_only_when_it_stops_their_work() -> None:
    assert list(tasks([task(SOON_DUE), task(OVERDUE)], OPERATOR, ZONE, TODAY)) == []
    stopped = [*tasks([task(OVERDUE, stops_work=True), task(RETURN)], OPERATOR, ZONE, TODAY)]
    assert [row.weight for row in stopped] == [STOPS, STOPS]
    assert len([*tasks([task(OVERDUE)], Reach(3, False, {1: 4}), ZONE, TODAY)]) == 1


def test_what_is_not_due_is_not_told() -> None:
    assert list(tasks([task(LATER)], ADA, ZONE, TODAY)) == []


def test_a_lapse_is_its_persons_and_the_stewards() -> None:
    ben = Person(id=2, name="Ben", login="ben", created_at=AT)
    rows = [Lapse(ben, BENCH, 2, AT, True, "Open it accompanied", "/there")]
    (own,) = lapses(rows, OPERATOR, ZONE, TODAY)
    (steward,) = lapses(rows, ADA, ZONE, TODAY)
    assert (own.weight, steward.weight) == (STOPS, SOON)
    assert "your grade 2 lapsed" in own.what
    assert "Ben’s grade 2 lapsed" in steward.what
    assert list(lapses(rows, Reach(9, False, {1: 4}), ZONE, TODAY)) == []
