"""Tasks of maintenance: laid out, found, taken off the list; and how an entry about one is written."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from server.cautions.service import BY_CODE
from server.cryostats import guards
from server.cryostats.counter_rules import MOST
from server.cryostats.models import Cryostat
from server.cryostats.rules import STEWARD, text_faults
from server.errors import NotFound, Refused
from server.history import service as history
from server.maintenance import rules
from server.maintenance.models import Task, TaskEntry
from server.maintenance.rules import DAYS
from server.people.models import Person
from server.stock import items

LARGEST_KEY = 2**31 - 1
NOT_STORED = "Nothing was stored."


@dataclass(frozen=True)
class Wanted:
    """A task as a steward writes it. `stood`: trigger → where its clock stood when it was last done."""

    name: str
    kind: str = "service"
    text: str = ""
    who: str = ""
    limits: Mapping[str, float] = field(default_factory=dict)
    condition: str = ""
    stood: Mapping[str, float] = field(default_factory=dict)
    last_done: datetime | None = None
    parts: Sequence[Mapping[str, Any]] = ()
    lead_days: int = 0
    down_h: float = 0.0
    stops_work: bool = False
    cautions: Sequence[str] = ()
    return_stage: str = ""
    return_K: float | None = None
    return_within_K: float | None = None
    return_name: str = ""


def make(
    session: Session,
    person: Person,
    slug: str,
    wanted: Wanted,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> Task:
    """Lay out a task; stewards do. Refused with the fields to mend."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    wrong = _task_faults(session, cryostat, wanted, now) | dict(unread or {})
    if wrong:
        raise Refused("The task was not stored.", wrong)
    begun = wanted.last_done or now
    marks: dict[str, Any] = {}
    for trigger in wanted.limits:
        marks[trigger] = {"from": begun.timestamp() if trigger == DAYS else wanted.stood.get(trigger, 0.0)}
    kept = {name: value for name, value in asdict(wanted).items() if name not in ("stood", "last_done")}
    kept |= {"parts": [dict(row) for row in wanted.parts], "cautions": list(wanted.cautions)}
    assert cryostat.id is not None
    row = Task(
        cryostat_id=cryostat.id, marks=marks, made_at=now, by_name=person.name, by_id=person.id, **kept
    )
    row.name = wanted.name.strip()
    session.add(row)
    session.flush()
    history.note(session, person, _subject(cryostat), f"Maintenance task {row.id}: {row.name}", now)
    return row


def _subject(cryostat: Cryostat) -> str:
    return f"cryostat/{cryostat.slug}"


def _task_faults(session: Session, cryostat: Cryostat, wanted: Wanted, now: datetime) -> dict[str, str]:
    found = _word_faults(wanted) | rules.limit_faults(wanted.limits, wanted.condition)
    if wanted.kind not in rules.KINDS:
        found["kind"] = "Choose what kind of task it is"
    if not 0 <= wanted.lead_days <= rules.LONGEST_LEAD_DAYS:
        found["lead_days"] = "Enter days from 0 to 1000"
    if not 0 <= wanted.down_h <= 10_000:
        found["down_h"] = "Enter hours from 0 to 10 000"
    if set(wanted.cautions) - set(BY_CODE):
        found["cautions"] = "Choose from the cautions"
    wrong = rules.moment_faults(wanted.last_done, now) if wanted.last_done is not None else {}
    found |= {"last_done": wrong["at"]} if wrong else {}
    found |= _stood_faults(wanted) | _return_faults(cryostat, wanted)
    unknown = [str(row["item"]) for row in wanted.parts if items.by_key(session, str(row["item"])) is None]
    return found | ({"parts": f"The stock room has no “{unknown[0][:40]}”"} if unknown else {})


def _word_faults(wanted: Wanted) -> dict[str, str]:
    found = text_faults("name", "the name", wanted.name, rules.LONGEST_LINE)
    found |= text_faults("text", "how it is done", wanted.text, rules.LONGEST_TEXT)
    found |= text_faults("who", "whose work it is", wanted.who, rules.LONGEST_LINE)
    found |= text_faults("return_name", "it", wanted.return_name, rules.LONGEST_LINE)
    if not wanted.name.strip():
        found["name"] = "Enter what is to be done"
    return found


def _stood_faults(wanted: Wanted) -> dict[str, str]:
    bad = [key for key, value in wanted.stood.items() if not 0 <= value <= MOST]
    return {f"stood_{key}": "Enter what the counter stood at, 0 or more" for key in bad}


def _return_faults(cryostat: Cryostat, wanted: Wanted) -> dict[str, str]:
    if not wanted.return_stage:
        return {}
    found = {}
    if wanted.return_stage not in cryostat.stages or wanted.return_stage == "vessel":
        found["return_stage"] = "Choose a stage of this cryostat that is cooled"
    for name, value in (("return_K", wanted.return_K), ("return_within_K", wanted.return_within_K)):
        if value is None or not 0 < value <= 400:
            found[name] = "Enter kelvins above 0"
    return found


def find(session: Session, slug: str, number: int, *, lock: bool = False) -> tuple[Task, Cryostat]:
    """One task with its cryostat; NotFound. With `lock`, nobody else writes about this cryostat."""
    cryostat = guards.find(session, slug, lock=lock)
    row = session.get(Task, number, populate_existing=lock) if 0 < number <= LARGEST_KEY else None
    if row is None or row.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such task.")
    return row, cryostat


def entries(session: Session, task: Task, most: int = 100) -> Sequence[TaskEntry]:
    """What was written about it, the newest first."""
    query = select(TaskEntry).where(TaskEntry.task_id == task.id)
    return session.exec(query.order_by(col(TaskEntry.id).desc()).limit(most)).all()


def keep_marks(session: Session, task: Task, marks: dict[str, Any]) -> None:
    """Where the clocks stand from now on."""
    # A new mapping: a change inside the old one would not be noticed.
    task.marks = marks
    session.add(task)
    session.flush()


def write(
    session: Session,
    person: Person,
    task: Task,
    kind: str,
    at: datetime,
    text: str,
    data: dict[str, Any],
    now: datetime,
) -> TaskEntry:
    """One entry about a task, as it stays."""
    assert task.id is not None
    row = TaskEntry(
        task_id=task.id,
        kind=kind,
        at=at,
        text=text.strip(),
        data=data,
        recorded_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def note(session: Session, person: Person, cryostat: Cryostat, task: Task, words: str, now: datetime) -> None:
    """One line in the history of the cryostat."""
    history.note(session, person, _subject(cryostat), f"Maintenance, {task.name}: {words}", now)


def retire(session: Session, person: Person, slug: str, number: int, now: datetime) -> Task:
    """Take a task off the list; what was done stays to be read."""
    task, cryostat = find(session, slug, number, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    task.retired = True
    session.add(task)
    note(session, person, cryostat, task, "off the list", now)
    return task
