"""Training: who works towards which grade, what was seen, signed by a steward; and whose grade lapses.

A lapse takes no grade away: it is said in good time, and nobody is locked out of a cold cryostat they answer
for. One accompanied opening brings a lapsed grade back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, func, select

from server.cryostats import counters, guards, instruments
from server.cryostats.counter_models import HandsOn
from server.cryostats.models import Cryostat, Grade
from server.cryostats.rules import GRADES, OPEN, STEWARD, text_faults
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.laboratory import service as laboratory
from server.people.models import Person
from server.training import rules
from server.training.models import Training, TrainingEntry

LARGEST_KEY = 2**31 - 1
NOT_STORED = "Nothing was stored."


@dataclass(frozen=True)
class Lapse:
    """A grade that lapses soon, or has: whose, where, when, and the one next step."""

    person: Person
    cryostat: Cryostat
    grade: int
    lapses_at: datetime
    lapsed: bool
    next_step: str
    address: str


def lapsing(session: Session, now: datetime, cryostat_id: int | None = None) -> list[Lapse]:
    """Grades that need hands and lapse within a month, or have lapsed; the earliest first; one query."""
    last = (
        select(HandsOn.cryostat_id, HandsOn.person_id, func.max(HandsOn.at).label("at"))
        .group_by(col(HandsOn.cryostat_id), col(HandsOn.person_id))
        .subquery()
    )
    query = (
        select(Grade, Person, Cryostat, last.c.at)
        .join(Person, col(Person.id) == Grade.person_id)
        .join(Cryostat, col(Cryostat.id) == Grade.cryostat_id)
        .join(
            last,
            (last.c.cryostat_id == Grade.cryostat_id) & (last.c.person_id == Grade.person_id),
            isouter=True,
        )
        .where(Grade.grade >= rules.LAPSING_FROM, col(Person.active), col(Person.steward).is_(False))
    )
    if cryostat_id is not None:
        query = query.where(Grade.cryostat_id == cryostat_id)
    found = []
    for grade, person, cryostat, hands_on in session.exec(query).all():
        at = rules.lapses_at(grade.at, hands_on)
        if at - rules.EARLY <= now:
            found.append(_lapse(person, cryostat, grade.grade, at, now))
    return sorted(found, key=lambda row: row.lapses_at)


def _lapse(person: Person, cryostat: Cryostat, grade: int, at: datetime, now: datetime) -> Lapse:
    lapsed = at <= now
    step = "One accompanied opening brings it back" if lapsed else "Hands on it before then keep it"
    address = f"/cryostats/{cryostat.slug}/training"
    return Lapse(person, cryostat, grade, at, lapsed, step, address)


def begin(
    session: Session, person: Person, slug: str, login: str, grade: int, mentor: str, now: datetime
) -> Training:
    """Begin somebody's way to a grade; stewards do."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    learner = session.exec(select(Person).where(Person.login == login, col(Person.active))).first()
    wrong = {} if learner else {"login": "Choose somebody with an account"}
    wrong = rules.begin_faults(grade, mentor, wrong)
    if wrong:
        raise Refused(NOT_STORED, wrong)
    assert learner is not None
    assert learner.id is not None
    assert cryostat.id is not None
    query = select(Training).where(
        Training.cryostat_id == cryostat.id,
        Training.person_id == learner.id,
        col(Training.signed_at).is_(None),
    )
    if session.exec(query).first() is not None:
        raise Conflict(f"{learner.name} is on the way to a grade of {cryostat.name} already.")
    row = Training(
        cryostat_id=cryostat.id,
        person_id=learner.id,
        person_name=learner.name,
        grade=grade,
        mentor=mentor.strip(),
        begun_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    line = f"Training of {learner.name} for grade {grade} ({GRADES[grade]}) begins; mentor {row.mentor}"
    history.note(session, person, f"cryostat/{slug}", line, now)
    return row


def find(session: Session, slug: str, number: int, *, lock: bool = False) -> tuple[Training, Cryostat]:
    """One training; NotFound."""
    cryostat = guards.find(session, slug, lock=lock)
    row = session.get(Training, number, populate_existing=lock) if 0 < number <= LARGEST_KEY else None
    if row is None or row.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such training.")
    return row, cryostat


def of_cryostat(session: Session, cryostat: Cryostat, most: int = 50) -> Sequence[Training]:
    """The newest trainings of a cryostat, those still open first."""
    query = select(Training).where(Training.cryostat_id == cryostat.id)
    order = (col(Training.signed_at).is_not(None), col(Training.id).desc())
    return session.exec(query.order_by(*order).limit(most)).all()


def entries(session: Session, row: Training) -> Sequence[TrainingEntry]:
    """What was seen, the oldest first."""
    query = select(TrainingEntry).where(TrainingEntry.training_id == row.id)
    return session.exec(query.order_by(col(TrainingEntry.id))).all()


@dataclass(frozen=True)
class Seen:
    """A line of the plan that was gone through."""

    key: str
    evidence: str
    trainer: str
    done_on: date | None
    passed: bool = True


def enter(
    session: Session,
    person: Person,
    slug: str,
    number: int,
    seen: Seen,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> TrainingEntry:
    """Write down what was seen; whoever may open it does, never the learner for themselves."""
    row, cryostat = find(session, slug, number, lock=True)
    guards.need(session, person, cryostat, OPEN)
    if person.id == row.person_id:
        raise Forbidden("Somebody else writes down what was seen of you.")
    today = laboratory.day_of(session, now)
    wrong = rules.entry_faults(seen.key, seen.evidence, seen.trainer, seen.done_on, today, row.person_name)
    wrong |= dict(unread or {})
    if wrong:
        raise Refused(NOT_STORED, wrong)
    assert row.id is not None
    assert seen.done_on is not None
    made = TrainingEntry(
        training_id=row.id,
        line_key=seen.key,
        evidence=seen.evidence.strip(),
        passed=seen.passed,
        trainer=seen.trainer.strip(),
        done_on=seen.done_on,
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(made)
    session.flush()
    line = f"Training of {row.person_name}: {seen.key} {'seen' if seen.passed else 'not yet'}"
    history.note(session, person, f"cryostat/{slug}", line, now)
    return made


def book(
    session: Session, person: Person, slug: str, number: int, day: date | None, what: str, now: datetime
) -> Training:
    """Agree on the day of the next step: a watched opening, an exercise."""
    row, cryostat = find(session, slug, number, lock=True)
    if person.id != row.person_id:
        guards.need(session, person, cryostat, OPEN)
    wrong = text_faults("what", "it", what, 200)
    if day is None or day < laboratory.day_of(session, now):
        wrong["day"] = "Enter a day still to come, such as 2026-12-14"
    if wrong:
        raise Refused(NOT_STORED, wrong)
    row.next_on, row.next_what = day, what.strip()
    session.add(row)
    history.note(session, person, f"cryostat/{slug}", f"Training of {row.person_name}: next on {day}", now)
    return row


def sign(session: Session, person: Person, slug: str, number: int, now: datetime) -> Training:
    """Sign a grade: every line of its plan was seen. The grade is given in the same step."""
    row, cryostat = find(session, slug, number, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    if row.signed_at is not None:
        raise Conflict("This grade is signed already.")
    left = rules.missing(row.grade, [entry.line_key for entry in entries(session, row) if entry.passed])
    if left:
        words = "; ".join(line.words for line in left[:3])
        raise Refused(
            "The grade was not signed.", {"line": f"{len(left)} lines are still to be seen: {words}"}
        )
    learner = session.get(Person, row.person_id)
    assert learner is not None
    row.signed_at = now
    session.add(row)
    grade = max(row.grade, guards.grades_of(session, learner).get(row.cryostat_id, 0))
    instruments.give_grade(session, person, cryostat, learner, grade, now)
    return row


def accompany(
    session: Session, person: Person, slug: str, login: str, day: date | None, now: datetime
) -> Lapse | None:
    """Write down an accompanied opening of somebody: hands were on it, and a lapsed grade is back.

    What is still left of a lapse, or None.
    """
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    learner = session.exec(select(Person).where(Person.login == login, col(Person.active))).first()
    wrong = {} if learner else {"login": "Choose somebody with an account"}
    if day is None or day > laboratory.day_of(session, now) or now.date() - day > rules.LASTS:
        wrong["day"] = "Enter the day of the opening, not ahead and not longer ago than half a year"
    if wrong:
        raise Refused(NOT_STORED, wrong)
    assert learner is not None
    assert day is not None
    if learner.id == person.id:
        raise Forbidden("Whoever was beside you writes it down.")
    if any(row.person.id == person.id and row.lapsed for row in lapsing(session, now, cryostat.id)):
        raise Forbidden("Your own grade here has lapsed; somebody else accompanies.")
    found = laboratory.get(session)
    assert found is not None
    at = min(datetime.combine(day, time(12), ZoneInfo(found.zone)), now)
    counters.hands_on(session, cryostat, at, learner)
    line = f"{learner.name}: opening on {day}, accompanied by {person.name}"
    history.note(session, person, f"cryostat/{slug}", line, now)
    left = [row for row in lapsing(session, now, cryostat.id) if row.person.id == learner.id]
    return left[0] if left else None
