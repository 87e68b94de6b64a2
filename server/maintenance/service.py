"""Maintenance: done, put off, seen to be due, held for, and brought back into service by a measurement.

Every write locks the cryostat first. What was done stands; a task's marks are what its entries left behind.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session, col, select

from server.bookings import service as bookings
from server.bookings.holds import Held
from server.bookings.models import Hold
from server.cooldowns import entry_kinds, trends
from server.cooldowns import finding as cooldowns
from server.cooldowns import rules as cooldown_rules
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE, STEWARD, text_faults
from server.errors import Conflict, NotFound, Refused
from server.maintenance import due as looking
from server.maintenance import rules, use
from server.maintenance.due import Due, address, due
from server.maintenance.models import Task, TaskEntry
from server.maintenance.rules import CONDITION, DAYS, DEFERRED, DONE, RETURN, RETURNED, SEEN, Done
from server.maintenance.tasks import NOT_STORED, find, keep_marks, note, write
from server.people.models import Person
from server.stock import items
from server.stock import service as stock

__all__ = ["Due", "address", "defer", "done", "due", "due_between", "hold", "returned", "seen"]
SERVICE = 4


def clocks(task: Task) -> tuple[str, ...]:
    """What an event may set back: the triggers of the task."""
    return (*task.limits, CONDITION) if task.condition else tuple(task.limits)


def done(
    session: Session,
    person: Person,
    slug: str,
    number: int,
    event: Done,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> TaskEntry:
    """Write down that it was done: the clocks named begin anew, all others run on; parts leave the stock."""
    task, cryostat = find(session, slug, number, lock=True)
    guards.need(session, person, cryostat, grade_for(task))
    wrong = rules.done_faults(event, clocks(task), now, last_done(session, task)) | dict(unread or {})
    unknown = [key for key in event.used if items.by_key(session, key) is None]
    wrong |= {"used": f"The stock room has no “{unknown[0][:40]}”"} if unknown else {}
    if wrong:
        raise Refused(NOT_STORED, wrong)
    totals = use.totals_at(session, task.cryostat_id, event.at)
    marks = _reset(task.marks, event, totals)
    data = {name: value for name, value in asdict(event).items() if name not in ("at", "text")}
    data |= {"resets": list(event.resets), "stood": {key: totals.get(key, 0.0) for key in task.limits}}
    row = write(session, person, task, DONE, event.at, event.text, data, now)
    if task.return_stage:
        marks[RETURN] = {"entry": row.id, "since": event.at.timestamp()}
        trends.break_trend(session, person, task.cryostat_id, event.at, f"Serviced: {task.name}", now)
    keep_marks(session, task, marks)
    _take_parts(session, person, event, f"{cryostat.name}: {task.name}", now)
    note(session, person, cryostat, task, f"done. {event.text.strip()}", now)
    return row


def _reset(old: Mapping[str, Any], event: Done, totals: Mapping[str, float]) -> dict[str, Any]:
    """The marks after an event: the clocks it names begin anew, the others run on as they were."""
    marks = dict(old)
    for trigger in event.resets:
        if trigger == CONDITION:
            marks.pop(CONDITION, None)
        else:
            marks[trigger] = {"from": event.at.timestamp() if trigger == DAYS else totals.get(trigger, 0.0)}
    return marks


def _take_parts(session: Session, person: Person, event: Done, because: str, now: datetime) -> None:
    for key, amount in event.used.items():
        item = items.by_key(session, key)
        assert item is not None
        assert item.id is not None
        stock.use(session, person, item.id, Decimal(str(amount)), because, now)


def grade_for(task: Task) -> int:
    """Whoever operates it may write down checks and drills; service itself needs its grade."""
    return OPERATE if task.kind in ("seal", "check", "drill") else SERVICE


def last_done(session: Session, task: Task) -> datetime | None:
    """When it was done last, as far as this book knows."""
    query = select(TaskEntry.at).where(TaskEntry.task_id == task.id, TaskEntry.kind == DONE)
    return session.exec(query.order_by(col(TaskEntry.at).desc()).limit(1)).first()


def seen(session: Session, person: Person, slug: str, number: int, words: str, now: datetime) -> TaskEntry:
    """Say that the condition was seen, which makes the task due at once."""
    task, cryostat = find(session, slug, number, lock=True)
    guards.need(session, person, cryostat, OPERATE)
    wrong = text_faults("words", "what was seen", words, rules.LONGEST_LINE)
    if not task.condition:
        wrong["words"] = "Nothing that is seen makes this task due"
    elif not words.strip():
        wrong["words"] = "Enter what was seen"
    if wrong:
        raise Refused(NOT_STORED, wrong)
    if task.marks.get(CONDITION):
        raise Conflict("It was seen already, and is due.")
    keep_marks(session, task, {**task.marks, CONDITION: {"from": now.timestamp(), "words": words.strip()}})
    note(session, person, cryostat, task, f"seen: {words.strip()}", now)
    return write(session, person, task, SEEN, now, words, {}, now)


@dataclass(frozen=True)
class Deferral:
    """Which trigger is put off, up to where, why; `times` is how often the person saw it was put off before.

    `limit` is a moment in seconds for the calendar and a condition, else what the counter may come to.
    """

    trigger: str
    limit: float | None
    reason: str
    times: int = 0


def defer(
    session: Session,
    person: Person,
    slug: str,
    number: int,
    wish: Deferral,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> TaskEntry:
    """Put a task off: with a name, a reason and a new limit, and knowing how often it was put off before."""
    task, cryostat = find(session, slug, number, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    if wish.trigger not in task.marks or wish.trigger == RETURN:
        raise Refused(NOT_STORED, {"trigger": "Choose one of the triggers that run"})
    mark = rules.mark_of(task.marks, wish.trigger)
    by_date = wish.trigger in (DAYS, CONDITION)
    if wish.trigger == CONDITION:
        stood = float(mark.get("limit") or mark["from"])
    else:
        stood = rules.limit_of(task.limits, task.marks, wish.trigger)
    totals = {} if by_date else use.totals_at(session, task.cryostat_id, now)
    reached = now.timestamp() if by_date else totals.get(wish.trigger, 0.0)
    times = int(mark.get("times", 0))
    wrong = rules.defer_faults(wish.reason, wish.limit, stood, reached, wish.times, times)
    wrong |= dict(unread or {})
    if wrong:
        raise Refused("The task was not put off.", wrong)
    data = {"trigger": wish.trigger, "limit": wish.limit, "instead_of": stood, "times": times + 1}
    row = write(session, person, task, DEFERRED, now, wish.reason, data, now)
    keep_marks(session, task, {**task.marks, wish.trigger: {**mark, "limit": wish.limit, "times": times + 1}})
    note(session, person, cryostat, task, f"put off for the {times + 1}. time. {wish.reason.strip()}", now)
    return row


def returned(
    session: Session, person: Person, slug: str, number: int, cooldown: int, now: datetime
) -> TaskEntry:
    """Bring the cryostat back into service by the base of a cooldown since the work; ends the hold for it."""
    task, cryostat = find(session, slug, number, lock=True)
    guards.need(session, person, cryostat, SERVICE)
    mark = rules.mark_of(task.marks, RETURN)
    if not mark:
        raise Conflict("Nothing waits for a measurement here.")
    base_K = _base_K(session, cryostat, cooldown, task.return_stage, float(mark["since"]))
    assert task.return_K is not None
    assert task.return_within_K is not None
    wrong = rules.returned_faults(task.return_within_K, task.return_K, base_K, task.return_stage)
    if wrong:
        raise Refused(NOT_STORED, wrong)
    words = f"Cooldown {cooldown}: {task.return_stage} {base_K:.2f} K"
    data = {"cooldown": cooldown, "base_K": base_K}
    row = write(session, person, task, RETURNED, now, words, data, now)
    held = task.marks.get("hold")
    rest = {key: value for key, value in task.marks.items() if key not in (RETURN, "hold")}
    keep_marks(session, task, rest)
    _end_hold(session, person, held, words, now)
    note(session, person, cryostat, task, f"back in service. {words}", now)
    return row


def _end_hold(session: Session, person: Person, number: int | None, words: str, now: datetime) -> None:
    standing = session.get(Hold, number) if number is not None else None
    if standing is not None and standing.id is not None and standing.ended_at is None:
        bookings.end_hold(session, person, standing.id, words, now)


def _base_K(session: Session, cryostat: Cryostat, number: int, stage: str, since: float) -> float | None:
    try:
        sheet = cooldowns.find(session, cryostat, number)
    except NotFound as missing:
        raise Refused(NOT_STORED, {"cooldown": missing.message}) from None
    started = sheet.cooldown.started_at
    if started is None or started.timestamp() < since:
        raise Refused(NOT_STORED, {"cooldown": "This cooldown began before the work was done"})
    base = cooldown_rules.newest(sheet.entries, entry_kinds.BASE)
    if base is None or base.data.get("settled") != "yes" or base.data.get("heater") != "off":
        return None
    value = base.data.get(f"{stage}_K")
    return None if value is None else float(value)


@dataclass(frozen=True)
class Stretch:
    """When a hold for a task begins and is expected to end; a soft one only warns."""

    starts: datetime
    ends: datetime
    soft: bool = False


def hold(session: Session, person: Person, slug: str, number: int, span: Stretch, now: datetime) -> Hold:
    """Hold the cryostat for a task. It ends when the measurement is back in its band, not on a date."""
    task, cryostat = find(session, slug, number, lock=True)
    condition = f"{task.name} is done and written down"
    if task.return_stage:
        condition += f"; {task.return_stage} within {task.return_within_K:g} K of {task.return_K:g} K"
        condition += f" ({task.return_name})" if task.return_name else ""
    held = Held("service", task.name, condition, span.starts, span.ends, span.soft)
    row = bookings.hold(session, person, slug, held, now)
    if not span.soft:
        keep_marks(session, task, {**task.marks, "hold": row.id})
    note(session, person, cryostat, task, f"hold {row.id} placed", now)
    return row


def due_between(
    session: Session, cryostat_id: int, starts: datetime, ends: datetime, now: datetime | None = None
) -> list[Due]:
    """The tasks of a cryostat that may fall due inside a stretch, such as a booking; `now` as of `starts`."""
    return looking.between(session, cryostat_id, starts, ends, now or starts)
