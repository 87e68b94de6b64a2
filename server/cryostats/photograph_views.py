"""What the pages of the photographs show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cryostats import contents, guards, photographs
from server.cryostats.models import Cryostat
from server.cryostats.photographs import About, Shown
from server.cryostats.rules import OPEN, STEWARD
from server.people.models import Person

PAGE = 60


@dataclass(frozen=True)
class Wanted:
    """Which photographs: all, or of one revision or element; `before` is the key of the last one seen."""

    revision: int | None = None
    element: str = ""
    before: int | None = None


ALL = Wanted()


@dataclass(frozen=True)
class Plate:
    """One photograph on the page."""

    shown: Shown
    of_what: str
    may_withdraw: bool


@dataclass(frozen=True)
class PhotographsView:
    """The photographs of a cryostat, and the form for the next."""

    cryostat: Cryostat
    wanted: Wanted
    plates: tuple[Plate, ...]
    more: bool
    may_add: bool
    about: About
    elements: Sequence[tuple[str, str]]
    stages: Sequence[tuple[str, str]]
    faults: Mapping[str, str]
    refused_plate: int | None = None
    """The photograph whose withdrawal was refused; the faults are then of its form."""


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    wanted: Wanted = ALL,
    *,
    about: About | None = None,
    faults: Mapping[str, str] | None = None,
    refused_plate: int | None = None,
) -> PhotographsView:
    """The newest photographs; of one revision or one element where that is asked for."""
    number = cryostat.revision if wanted.revision is None else wanted.revision
    about = about or About(number, element_key=wanted.element)
    titles = {key: put.title for key, put in contents.elements(session, cryostat, about.revision).items()}
    rows = photographs.of_cryostat(
        session,
        cryostat,
        revision=wanted.revision,
        element_key=wanted.element,
        before=wanted.before,
        limit=PAGE + 1,
    )
    grade = guards.grade_of(session, person, cryostat)
    return PhotographsView(
        cryostat=cryostat,
        wanted=wanted,
        plates=plates(rows[:PAGE], titles, person, grade),
        more=len(rows) > PAGE,
        may_add=grade >= OPEN,
        about=about,
        elements=(("", "All of it"), *sorted(titles.items(), key=lambda row: row[1].lower())),
        stages=(("", "No lag in particular"), *((stage, stage) for stage in cryostat.stages[1:])),
        faults=faults or {},
        refused_plate=refused_plate,
    )


def plates(rows: Sequence[Shown], titles: Mapping[str, str], person: Person, grade: int) -> tuple[Plate, ...]:
    """Each with what it is of, in words, and whether this person may withdraw it."""
    return tuple(_plate(row, titles, person, grade) for row in rows)


def _plate(row: Shown, titles: Mapping[str, str], person: Person, grade: int) -> Plate:
    photograph = row.photograph
    words = [f"Revision {photograph.revision}"]
    if photograph.element_key:
        words.append(titles.get(photograph.element_key, photograph.element_key))
    if photograph.lag_stage:
        words.append(f"lag at the {photograph.lag_stage}")
    mine = photograph.by_id == person.id or grade >= STEWARD
    return Plate(row, ", ".join(words), mine and row.withdrawal is None)


@dataclass(frozen=True)
class PartView:
    """The photographs of one revision, as a part of another page."""

    cryostat: Cryostat
    revision: int
    plates: tuple[Plate, ...]


def part(session: Session, person: Person, cryostat: Cryostat, revision: int) -> PartView:
    """All photographs of a revision."""
    rows = photographs.of_cryostat(session, cryostat, revision=revision, limit=PAGE)
    titles = {key: put.title for key, put in contents.elements(session, cryostat, revision).items()}
    return PartView(cryostat, revision, plates(rows, titles, person, 0))
