"""All that somebody should know today, gathered from every room below; nothing is changed by looking."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import budget, guards, instruments
from server.cryostats.models import Cryostat
from server.laboratory import service as laboratory
from server.notices import newest, planned, running, stores, upkeep
from server.notices.rules import Notice, Reach, in_order
from server.notices.running import Floor
from server.people.models import Person


def floor_now(session: Session, now: datetime) -> Floor:
    """Every cryostat with its state, shutters and newest readings, in four queries."""
    rows = session.exec(select(Cryostat).order_by(col(Cryostat.name), col(Cryostat.id))).all()
    return Floor(
        rows,
        instruments.states_now(session),
        budget.shutters_of_all(session),
        newest.of_all(session, now),
        laboratory.get(session).zone,
    )


def reach_of(session: Session, person: Person) -> Reach:
    """What concerns this person."""
    assert person.id is not None
    return Reach(person.id, person.steward, {} if person.steward else guards.grades_of(session, person))


def for_person(
    session: Session, person: Person, now: datetime, floor: Floor | None = None
) -> Sequence[Notice]:
    """What this person should know today, in order of what stops work."""
    reach, here = reach_of(session, person), floor or floor_now(session, now)
    today = laboratory.day_of(session, now)
    found = [
        *stores.told(session, reach, now, today),
        *running.told(session, reach, here, now, today),
        *planned.told(session, reach, here, today),
        *upkeep.told(session, reach, here.zone, now, today),
    ]
    return in_order(found)
