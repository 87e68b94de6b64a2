"""Who may do what on which cryostat. A route asks here before it lets a service work."""

from collections.abc import Mapping

from sqlmodel import Session, col, select

from server.cryostats.models import Cryostat, Grade
from server.cryostats.rules import GRADES, SLUG, STEWARD
from server.errors import Forbidden, NotFound
from server.people.models import Person


def find(session: Session, slug: str, *, lock: bool = False) -> Cryostat:
    """The cryostat at this address; with `lock`, nobody else may change it until the transaction ends."""
    query = select(Cryostat).where(Cryostat.slug == slug)
    if lock:
        # What this session read before the lock may be old by now.
        query = query.with_for_update().execution_options(populate_existing=True)
    found = session.exec(query).first() if SLUG.fullmatch(slug) else None
    if found is None:
        raise NotFound(f"There is no cryostat “{slug}”.")
    return found


def grade_of(session: Session, person: Person, cryostat: Cryostat) -> int:
    """The grade in force: STEWARD for a steward, else what was given, else 0."""
    if person.steward:
        return STEWARD
    query = select(Grade.grade).where(Grade.cryostat_id == cryostat.id, Grade.person_id == person.id)
    return session.exec(query).first() or 0


def grades_of(session: Session, person: Person) -> Mapping[int, int]:
    """Cryostat key → grade, for all cryostats at once."""
    query = select(Grade.cryostat_id, Grade.grade).where(Grade.person_id == person.id)
    return dict(session.exec(query).all())


def need(session: Session, person: Person, cryostat: Cryostat, grade: int) -> None:
    """Forbidden unless the person's grade on this cryostat is at least `grade`."""
    have = grade_of(session, person, cryostat)
    if have >= grade:
        return
    if grade >= STEWARD:
        raise Forbidden("Only a steward may do this.")
    raise Forbidden(
        f"This needs grade {grade} ({GRADES[grade]}) on {cryostat.name}; "
        f"yours is {have} ({GRADES[have]}). Ask the steward."
    )


def grade_rows(session: Session, cryostat: Cryostat) -> list[tuple[Person, int]]:
    """Everybody with an account, with their grade here, by name."""
    query = (
        select(Person, Grade.grade)
        .join(
            Grade, (col(Grade.person_id) == Person.id) & (col(Grade.cryostat_id) == cryostat.id), isouter=True
        )
        .where(col(Person.active))
        .order_by(Person.name)
    )
    return [(person, grade or 0) for person, grade in session.exec(query).all()]
