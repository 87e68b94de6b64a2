"""What is due, when, and what has to be ordered for it: read in a fixed number of queries."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session, col, select

from server.cryostats.models import Cryostat
from server.laboratory import service as laboratory
from server.maintenance import rules, use
from server.maintenance.models import Task
from server.maintenance.rules import Dates, Fired
from server.stock import service as stock
from server.stock.models import Item


@dataclass(frozen=True)
class Need:
    """A part of a task against the stock room."""

    name: str
    key: str
    amount: float
    missing: float
    unit: str
    lead_days: int | None
    order_by: date | None
    """The day it is to be ordered at the latest, where it is missing and its lead time is known."""


@dataclass(frozen=True)
class Due:
    """A task with the dates at which it is expected to be due."""

    task: Task
    cryostat: Cryostat
    dates: Dates
    state: str
    why: str
    next_step: str
    address: str
    triggers: Sequence[Fired]
    needs: Sequence[Need]
    order_by: date | None


def address(cryostat: Cryostat, task: Task) -> str:
    """The page of a task."""
    return f"/cryostats/{cryostat.slug}/maintenance/{task.id}"


def due(session: Session, now: datetime, cryostat_id: int | None = None) -> list[Due]:
    """Every task of everything, or of one cryostat, in the order of what stops work."""
    query = select(Task, Cryostat).join(Cryostat, col(Cryostat.id) == Task.cryostat_id)
    query = query.where(col(Task.retired).is_(False))
    if cryostat_id is not None:
        query = query.where(Task.cryostat_id == cryostat_id)
    rows = session.exec(query.order_by(col(Task.id))).all()
    return _told(session, rows, now)


def of_task(session: Session, task: Task, cryostat: Cryostat, now: datetime) -> Due:
    """One task."""
    return _told(session, [(task, cryostat)], now)[0]


def _told(session: Session, rows: Sequence[tuple[Task, Cryostat]], now: datetime) -> list[Due]:
    if not rows:
        return []
    uses = use.uses(session, sorted({task.cryostat_id for task, _ in rows}), now)
    keys = {part["item"] for task, _ in rows for part in task.parts}
    items = {row.key: row for row in session.exec(select(Item).where(col(Item.key).in_(keys))).all()}
    free = {key: float(row.free) for key, row in stock.amounts(session, now).items()} if items else {}
    today = laboratory.day_of(session, now)
    found = [
        _due(task, cryostat, uses[task.cryostat_id], (items, free), (now, today)) for task, cryostat in rows
    ]
    return sorted(found, key=lambda row: _rank(row, now))


def _rank(row: Due, now: datetime) -> tuple[int, bool, datetime]:
    return (
        rules.ORDER.index(row.state),
        not row.task.stops_work,
        row.dates.first or now + timedelta(days=rules.FARTHEST_DAYS),
    )


def _due(
    task: Task,
    cryostat: Cryostat,
    uses: Mapping[str, rules.Use],
    stores: tuple[Mapping[str, Item], Mapping[int, float]],
    at: tuple[datetime, date],
) -> Due:
    now, today = at
    fired = rules.triggers(task.limits, task.marks, uses, now)
    first = fired[0] if fired else None
    dates = first.dates if first else Dates(None, None, None)
    needs = tuple(_need(part, stores, dates.first) for part in task.parts)
    lacking = [row for row in needs if row.missing > 0]
    leads = [task.lead_days, *(row.lead_days or 0 for row in lacking)]
    state = rules.state(first, task.marks, max(leads), now)
    days = [row.order_by for row in lacking if row.order_by is not None]
    if task.lead_days and dates.first is not None:
        days.append((dates.first - timedelta(days=task.lead_days)).date())
    by = min(days, default=None)
    why = first.why if first else f"when this is seen: {task.condition}"
    step = _next_step(task, state, lacking, by, today)
    return Due(task, cryostat, dates, state, why, step, address(cryostat, task), fired, needs, by)


def _need(
    part: Mapping[str, object],
    stores: tuple[Mapping[str, Item], Mapping[int, float]],
    likely: datetime | None,
) -> Need:
    items, free = stores
    key, amount = str(part["item"]), float(str(part["amount"]))
    item = items.get(key)
    if item is None:
        return Need(key, key, amount, amount, "", None, None)
    missing = max(amount - max(free.get(item.id or 0, 0.0), 0.0), 0.0)
    order_by = None
    if missing > 0 and likely is not None and item.lead_days is not None:
        order_by = (likely - timedelta(days=item.lead_days)).date()
    return Need(item.name, key, amount, missing, item.unit, item.lead_days, order_by)


def _next_step(task: Task, state: str, lacking: Sequence[Need], by: date | None, today: date) -> str:
    if state == rules.RETURN:
        return f"Measure: {task.return_stage} within {task.return_within_K:g} K of {task.return_K:g} K"
    if lacking and state in (rules.OVERDUE, rules.SOON_DUE):
        names = ", ".join(row.name for row in lacking)
        if by is None:
            return f"Order {names}"
        return f"Order {names}: {'the day for it was' if by < today else 'by'} {by.day} {by:%b %Y}"
    if state == rules.OVERDUE:
        return "Do it and write it down, or put it off with a reason"
    if by is not None and state == rules.SOON_DUE:
        return f"Arrange it: {'the day for it was' if by < today else 'by'} {by.day} {by:%b %Y}"
    return "Find a day for it" if state == rules.SOON_DUE else "Nothing yet"


def between(session: Session, cryostat_id: int, starts: datetime, ends: datetime, now: datetime) -> list[Due]:
    """The tasks of a cryostat that may fall due between two moments: for a soft hold inside a booking."""
    return [row for row in due(session, now, cryostat_id) if _inside(row.dates, starts, ends)]


def _inside(dates: Dates, starts: datetime, ends: datetime) -> bool:
    first = dates.earliest or dates.likely
    last = dates.latest or dates.likely or first
    return first is not None and last is not None and first < ends and last >= starts
