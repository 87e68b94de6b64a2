"""The laboratory's settings."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.errors import NotFound, Refused
from server.history import service as history
from server.laboratory.models import Laboratory
from server.laboratory.rules import faults
from server.laboratory.working_days import WorkingWeek, country_faults


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
    week: WorkingWeek,
    opens: time,
    closes: time,
) -> Laboratory:
    """Store new settings; Refused with the field to mend."""
    wrong = faults(name, zone, week.days, opens, closes) | country_faults(week.country)
    if wrong:
        raise Refused("The laboratory's settings were not stored.", wrong)
    laboratory = get(session)
    before = laboratory.model_dump(mode="json")
    laboratory.name, laboratory.zone = name.strip(), zone
    laboratory.working_days, laboratory.country = week.days, week.country
    laboratory.opens, laboratory.closes = opens, closes
    session.add(laboratory)
    history.note(session, author, "laboratory", "Settings altered", at, {"before": before})
    return laboratory


def week(session: Session) -> WorkingWeek:
    """The days it works; Monday to Friday before the first set-up."""
    found = session.get(Laboratory, 1)
    return WorkingWeek(found.working_days, found.country) if found else WorkingWeek()


def day_of(session: Session, moment: datetime) -> date:
    """The laboratory's day at a moment; the day of UTC before the first set-up."""
    found = session.get(Laboratory, 1)
    return moment.astimezone(ZoneInfo(found.zone if found else "UTC")).date()


def end_of(session: Session, day: date) -> datetime:
    """The moment at which a day of the laboratory ends; a day of UTC before the first set-up."""
    found = session.get(Laboratory, 1)
    return datetime.combine(day + timedelta(days=1), time(), ZoneInfo(found.zone if found else "UTC"))
