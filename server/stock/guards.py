"""Who may move what. A route asks here before it lets a service work."""

from sqlmodel import Session

from server.cryostats.guards import grades_of
from server.cryostats.rules import GRADES
from server.errors import Forbidden
from server.people.models import Person
from server.stock.models import Item


def may_move(session: Session, person: Person, item: Item | None = None) -> bool:
    """Whether the person may move this item, or anything at all: by the grade on any cryostat."""
    if person.steward:
        return True
    best = max(grades_of(session, person).values(), default=0)
    return best >= max(1, item.take_grade if item else 1)


def need_to_move(session: Session, person: Person, item: Item) -> None:
    """Forbidden for whom the item is not to be moved by."""
    if not may_move(session, person, item):
        grade = max(1, item.take_grade)
        raise Forbidden(
            f"To move {item.name} needs grade {grade} ({GRADES[grade]}) on a cryostat. Ask the steward."
        )


def need_steward(person: Person) -> None:
    """Forbidden for whom is no steward."""
    if not person.steward:
        raise Forbidden("Only a steward may do this.")
