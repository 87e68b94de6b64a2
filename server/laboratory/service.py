"""The laboratory's settings."""

from datetime import datetime, time

from sqlmodel import Session

from server.errors import NotFound, Refused
from server.history import service as history
from server.laboratory.models import Laboratory
from server.laboratory.rules import faults


def get(session: Session) -> Laboratory:
    """The laboratory; NotFound before the first set-up."""
    found = session.get(Laboratory, 1)
    if found is None:
        raise NotFound("No laboratory yet. Run `coldstead steward` to make the first steward.")
    return found


def set_up(session: Session, name: str, zone: str) -> Laboratory:
    """The laboratory, made with these settings if there was none; Refused with what cannot be."""
    found = session.get(Laboratory, 1)
    if found is None:
        found = Laboratory(name=name, zone=zone)
        wrong = faults(name, zone, found.working_days, found.opens, found.closes)
        if wrong:
            raise Refused("The laboratory was not made.", wrong)
        session.add(found)
        session.flush()
    return found


def alter(
    session: Session,
    author: history.Author,
    at: datetime,
    *,
    name: str,
    zone: str,
    working_days: str,
    opens: time,
    closes: time,
) -> Laboratory:
    """Store new settings; Refused with the field to mend."""
    wrong = faults(name, zone, working_days, opens, closes)
    if wrong:
        raise Refused("The laboratory's settings were not stored.", wrong)
    laboratory = get(session)
    before = laboratory.model_dump(mode="json")
    laboratory.name, laboratory.zone = name.strip(), zone
    laboratory.working_days, laboratory.opens, laboratory.closes = working_days, opens, closes
    session.add(laboratory)
    history.note(session, author, "laboratory", "Settings altered", at, {"before": before})
    return laboratory
