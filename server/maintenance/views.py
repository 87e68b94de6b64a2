"""What the pages of maintenance show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from sqlmodel import Session

from server.bookings.models import Hold
from server.cautions import service as cautions
from server.cautions.models import Card
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import STEWARD
from server.files.models import StoredFile
from server.maintenance import due as looking
from server.maintenance import pictures, rules, service, starter, tasks
from server.maintenance.due import Due
from server.maintenance.models import Task, TaskEntry, TaskPhotograph
from server.maintenance.rules import CONDITION, DAYS, DEFERRED, ENTRIES, KINDS, STATES, TRIGGERS
from server.openings import service as openings
from server.people.models import Person
from server.web.moments import day

MOST_FACTS = 20
TAGS = {"return": "bad", "overdue": "bad", "soon": "warn", "later": "good", "no-date": "unrecorded"}


@dataclass(frozen=True)
class Line:
    """One task in a list."""

    due: Due
    zone: str

    @property
    def state(self) -> str:
        """Where it stands, in words."""
        return STATES[self.due.state]

    @property
    def tag(self) -> str:
        """The kind of tag its state has."""
        return TAGS[self.due.state]

    @property
    def dates(self) -> str:
        """The band of dates, in words."""
        return spoken(self.due.dates, self.zone)

    @property
    def put_off(self) -> str:
        """Which clocks were put off, and how often."""
        marks = self.due.task.marks
        rows = [
            (key, mark["times"])
            for key, mark in marks.items()
            if isinstance(mark, dict) and mark.get("times")
        ]
        return ", ".join(f"{name_of(key).lower()} put off {times}×" for key, times in rows)


def name_of(trigger: str) -> str:
    """What a page calls a trigger."""
    return "What was seen" if trigger == CONDITION else TRIGGERS[trigger][0]


def spoken(dates: rules.Dates, zone: str) -> str:
    """A band of dates as a page says it."""
    first, best, last = (
        None if at is None else day(at, zone) for at in (dates.earliest, dates.likely, dates.latest)
    )
    if best is None:
        return f"not before {first}" if first else "–"
    if first == last == best:
        return best
    return f"about {best} ({first or '?'} to {last or 'nobody can say'})"


@dataclass(frozen=True)
class ListView:
    """What is due: of everything, or of one cryostat."""

    cryostat: Cryostat | None
    lines: Sequence[Line]
    steward: bool
    starter: Sequence[tuple[str, str]]
    faults: Mapping[str, str] = field(default_factory=dict)


def index(
    session: Session,
    person: Person,
    cryostat: Cryostat | None,
    at: tuple[datetime, str],
    faults: Mapping[str, str] | None = None,
) -> ListView:
    """The list; `at` is the moment now and the laboratory's zone."""
    now, zone = at
    found = service.due(session, now, cryostat.id if cryostat else None)
    names = {row.task.name for row in found}
    left = [(key, row.name) for key, row in starter.STARTER.items() if row.name not in names]
    lines = tuple(Line(row, zone) for row in found)
    return ListView(cryostat, lines, person.steward, left if cryostat else (), faults or {})


@dataclass(frozen=True)
class FormView:
    """The form of a new task."""

    cryostat: Cryostat
    typed: Mapping[str, str]
    picked: Sequence[str]
    faults: Mapping[str, str]
    cautions: Sequence[tuple[str, str]]
    stages: Sequence[tuple[str, str]]
    kinds: Sequence[tuple[str, str]] = tuple(KINDS.items())
    triggers: Sequence[tuple[str, tuple[str, str]]] = tuple(TRIGGERS.items())


def form(
    session: Session,
    cryostat: Cryostat,
    typed: Mapping[str, str],
    picked: Sequence[str] = (),
    faults: Mapping[str, str] | None = None,
) -> FormView:
    """The form, with what was typed."""
    cards = [(card.code, f"{card.code} {card.title}") for card in cautions.every(session)]
    stages = [("", "no measurement"), *((row, row) for row in cryostat.stages if row != "vessel")]
    return FormView(cryostat, typed, picked, faults or {}, cards, stages)


@dataclass(frozen=True)
class Told:
    """One entry of a task."""

    entry: TaskEntry
    what: str
    more: Sequence[str]


@dataclass(frozen=True)
class TaskView:
    """The page of one task."""

    cryostat: Cryostat
    task: Task
    line: Line
    kind: str
    triggers: Sequence[tuple[str, str, str]]
    told: Sequence[Told]
    photographs: Sequence[tuple[TaskPhotograph, StoredFile]]
    facts: Sequence[tuple[str, str, datetime]]
    """Of seals and joints: what openings did to them since the task was done last."""
    cards: Sequence[Card]
    clocks: Sequence[tuple[str, str]]
    running: Sequence[tuple[str, str, int]]
    grade: int
    needed: int
    hold: Hold | None
    typed: Mapping[str, str]
    picked: Sequence[str]
    faults: Mapping[str, str]

    @property
    def steward(self) -> bool:
        """True for whoever may put it off."""
        return self.grade >= STEWARD


@dataclass(frozen=True)
class Answered:
    """What somebody typed, and what of it is to be mended."""

    typed: Mapping[str, str] = field(default_factory=dict)
    picked: Sequence[str] = ()
    faults: Mapping[str, str] = field(default_factory=dict)


def one(
    session: Session,
    person: Person,
    slug: str,
    number: int,
    at: tuple[datetime, str],
    answered: Answered | None = None,
) -> TaskView:
    """One task; NotFound."""
    now, zone = at
    task, cryostat = tasks.find(session, slug, number)
    line, said = Line(looking.of_task(session, task, cryostat, now), zone), answered or Answered()
    clocks = [(key, name_of(key)) for key in service.clocks(task)]
    running = [
        (key, name_of(key), int(task.marks[key].get("times", 0))) for key, _ in clocks if key in task.marks
    ]
    fired = [(name_of(row.trigger), row.why, spoken(row.dates, zone)) for row in line.due.triggers]
    hold_id = task.marks.get("hold")
    return TaskView(
        cryostat=cryostat,
        task=task,
        line=line,
        kind=KINDS.get(task.kind, task.kind),
        triggers=fired,
        told=[_told(row, zone) for row in tasks.entries(session, task)],
        photographs=pictures.of_task(session, task),
        facts=_facts(session, task),
        cards=cautions.for_codes(session, task.cautions),
        clocks=clocks,
        running=running,
        grade=guards.grade_of(session, person, cryostat),
        needed=service.grade_for(task),
        hold=session.get(Hold, hold_id) if hold_id else None,
        typed=said.typed,
        picked=said.picked or [key for key, _ in clocks],
        faults=said.faults,
    )


def _facts(session: Session, task: Task) -> list[tuple[str, str, datetime]]:
    if task.kind != "seal":
        return []
    since = service.last_done(session, task) or task.made_at
    rows = openings.facts_since(session, task.cryostat_id, since)[-MOST_FACTS:]
    return [(row.kind.replace("-", " "), row.subject, row.at) for row in rows]


def _told(row: TaskEntry, zone: str) -> Told:
    data = row.data
    more = (
        [f"Clocks that begin anew: {', '.join(name_of(key).lower() for key in data['resets'])}"]
        if data.get("resets")
        else []
    )
    words = {
        "serial_out": "old part",
        "serial_in": "new part",
        "engineer": "by",
        "certificate": "certificate",
    }
    more += [f"{words[key]} {value}" for key, value in (data.get("found") or {}).items()]
    more += [f"{data['hours']:g} h of work"] if data.get("hours") else []
    more += [f"helium added: {data['helium_Pa'] / 1e5:.2f} bar"] if data.get("helium_Pa") else []
    more += [f"used: {amount:g} of {key}" for key, amount in (data.get("used") or {}).items()]
    if row.kind == DEFERRED:
        more += [f"{name_of(data['trigger'])}: {_limit(data, zone)}, for the {data['times']}. time"]
    return Told(row, ENTRIES[row.kind], more)


def _limit(data: Mapping[str, object], zone: str) -> str:
    limit = float(str(data["limit"]))
    if data["trigger"] in (DAYS, CONDITION):
        return f"put off to {day(datetime.fromtimestamp(limit, UTC), zone)}"
    return f"put off to {limit:.0f}"


@dataclass(frozen=True)
class FallingDueView:
    """What may fall due inside a stretch."""

    cryostat: Cryostat
    starts: datetime
    ends: datetime
    rows: Sequence[Due]


def falling_due(
    session: Session, cryostat: Cryostat, starts: datetime, ends: datetime, now: datetime
) -> FallingDueView:
    """The tasks of a cryostat that may fall due inside a stretch."""
    assert cryostat.id is not None
    return FallingDueView(
        cryostat, starts, ends, service.due_between(session, cryostat.id, starts, ends, now)
    )
