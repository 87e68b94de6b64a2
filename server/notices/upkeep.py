"""What maintenance and training have to say: tasks that are due, grades that lapse."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.maintenance import service as maintenance
from server.maintenance.rules import OVERDUE, RETURN, SOON_DUE
from server.maintenance.service import Due
from server.notices.rules import DUE, KNOW, LAPSED, SOON, STOPS, Notice, Reach, day_words
from server.training import service as training
from server.training.service import Lapse

SERVICE = 4
"""The grade that services a cryostat, and so hears of every task of it."""


def told(session: Session, reach: Reach, zone: str, now: datetime, today: date) -> Iterator[Notice]:
    """Tasks of whoever services, or is stopped by them; one's own grades, and every one for the steward."""
    yield from tasks(maintenance.due(session, now), reach, zone, today)
    yield from lapses(training.lapsing(session, now), reach, zone, today)


def tasks(rows: Iterable[Due], reach: Reach, zone: str, today: date) -> Iterator[Notice]:
    """Those that are due, soon due, or done and not measured yet."""
    for row in rows:
        stops = row.state == RETURN or (row.state == OVERDUE and row.task.stops_work)
        services = reach.grade(row.cryostat.id) >= SERVICE
        concerned = services or (stops and reach.operates(row.cryostat.id))
        if row.state not in (RETURN, OVERDUE, SOON_DUE) or not concerned:
            continue
        first = row.dates.first
        day = row.order_by or (first.astimezone(ZoneInfo(zone)).date() if first else None)
        due = f", {'to be ordered' if row.order_by else 'due'} {day_words(day, today)}" if day else ""
        what = f"{row.cryostat.name}: {row.task.name}{due} ({row.why})"
        weight = STOPS if stops else SOON if row.state == OVERDUE else KNOW
        yield Notice(DUE, f"task-{row.task.id}", what, row.next_step, row.address, weight, day)


def lapses(rows: Iterable[Lapse], reach: Reach, zone: str, today: date) -> Iterator[Notice]:
    """Grades that have lapsed, or will within their notice."""
    for row in rows:
        own = row.person.id == reach.person_id
        if not (own or reach.steward):
            continue
        day = row.lapses_at.astimezone(ZoneInfo(zone)).date()
        whose = "your" if own else f"{row.person.name}’s"
        verb = "lapsed" if row.lapsed else "lapses"
        what = f"{row.cryostat.name}: {whose} grade {row.grade} {verb} {day_words(day, today)}"
        weight = STOPS if own and row.lapsed else SOON if row.lapsed else KNOW
        key = f"lapse-{row.cryostat.id}-{row.person.id}"
        yield Notice(LAPSED, key, what, row.next_step, row.address, weight, day)
