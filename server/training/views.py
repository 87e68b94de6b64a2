"""What the pages of training show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import GRADES, OPEN
from server.people.models import Person
from server.training import rules, service
from server.training.models import Training, TrainingEntry
from server.training.service import Lapse


@dataclass(frozen=True)
class IndexView:
    """Who learns what on one cryostat, and whose grade lapses."""

    cryostat: Cryostat
    trainings: Sequence[Training]
    lapses: Sequence[Lapse]
    grade: int
    people: Sequence[tuple[str, str]]
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    grades: Sequence[tuple[str, str]] = tuple(
        (str(key), f"{key}: {words}") for key, words in GRADES.items() if key
    )

    @property
    def accompanies(self) -> bool:
        """True for whoever may be beside somebody."""
        return self.grade >= OPEN


def index(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    now: datetime,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> IndexView:
    """The page of one cryostat."""
    people = session.exec(select(Person).where(col(Person.active)).order_by(Person.name)).all()
    return IndexView(
        cryostat=cryostat,
        trainings=service.of_cryostat(session, cryostat),
        lapses=service.lapsing(session, now, cryostat.id),
        grade=guards.grade_of(session, person, cryostat),
        people=[("", "choose"), *((row.login, row.name) for row in people)],
        typed=typed or {},
        faults=faults or {},
    )


@dataclass(frozen=True)
class Shown:
    """One line of a plan with what was seen of it."""

    key: str
    words: str
    record: str
    seen: Sequence[TrainingEntry]

    @property
    def passed(self) -> bool:
        """True when somebody saw it."""
        return any(row.passed for row in self.seen)


@dataclass(frozen=True)
class TrainingView:
    """The page of one training."""

    cryostat: Cryostat
    training: Training
    grade_words: str
    lines: Sequence[Shown]
    grade: int
    writes: bool
    steward: bool
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)

    @property
    def left(self) -> int:
        """How many lines are still to be seen."""
        return sum(not row.passed for row in self.lines)

    @property
    def choices(self) -> Sequence[tuple[str, str]]:
        """The lines to choose from, what is still to be seen first."""
        return [(row.key, row.words) for row in sorted(self.lines, key=lambda row: row.passed)]


def one(
    session: Session,
    person: Person,
    slug: str,
    number: int,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> TrainingView:
    """One training; NotFound."""
    row, cryostat = service.find(session, slug, number)
    rows = service.entries(session, row)
    lines = [
        Shown(line.key, line.words, line.record, [seen for seen in rows if seen.line_key == line.key])
        for line in rules.plan(row.grade)
    ]
    grade = guards.grade_of(session, person, cryostat)
    return TrainingView(
        cryostat=cryostat,
        training=row,
        grade_words=f"{row.grade} ({GRADES[row.grade]})",
        lines=lines,
        grade=grade,
        writes=grade >= OPEN and person.id != row.person_id,
        steward=person.steward,
        typed=typed or {},
        faults=faults or {},
    )
