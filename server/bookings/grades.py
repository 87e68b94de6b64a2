"""The grade a booking's hands-on work needs, its owner's or a named helper's, and whether it has lapsed."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from server.bookings.lines import Desk
from server.bookings.models import Booking, Party
from server.bookings.rules import NONE
from server.cryostats import counters, guards
from server.cryostats.models import Cryostat, Grade
from server.cryostats.rules import GRADES, OPEN, OPERATE, REWIRE, STEWARD
from server.errors import Forbidden, Refused
from server.people.models import Person

MONTH = timedelta(days=365.25 / 12)


@dataclass(frozen=True)
class Standing:
    """What somebody may do here, and since when their hands were off it if that is too long."""

    person: Person
    grade: int
    lapsed_since: datetime | None

    def covers(self, needed: int) -> bool:
        """True when this person may do work of that grade."""
        return self.grade >= needed and (self.lapsed_since is None or needed < OPEN)


def needed(desk: Desk, before: str, after: str, change: str, want: str) -> int:
    """The highest grade that a hands-on phase of the chain asks for; what was drawn for all asks for less."""
    if change == NONE:
        return OPERATE
    most = OPEN if want == "house" else REWIRE
    return max(OPEN, min(desk.book.grade(before, after), most))


def standing(session: Session, person: Person, cryostat: Cryostat, months: float, now: datetime) -> Standing:
    """The grade in force; a steward's never lapses, nor that of whoever answers for it while it is cold."""
    grade = guards.grade_of(session, person, cryostat)
    if grade >= STEWARD or grade < OPEN or answers_for(session, person, cryostat, now):
        return Standing(person, grade, None)
    query = select(Grade.at).where(Grade.cryostat_id == cryostat.id, Grade.person_id == person.id)
    given = session.exec(query).first()
    hands = counters.last_hands_on(session, cryostat, person)
    last = max(row for row in (given, hands) if row is not None) if given or hands else now
    ends = last + months * MONTH
    return Standing(person, grade, ends if ends < now else None)


def answers_for(session: Session, person: Person, cryostat: Cryostat, now: datetime) -> bool:
    """True while a cold window of this person's runs: nobody is locked out of what they answer for."""
    running = select(Booking.id).where(
        Booking.cryostat_id == cryostat.id,
        col(Booking.occupancy_id).is_not(None),
        col(Booking.window_starts) <= now,
        col(Booking.window_ends) > now,
    )
    own = session.exec(running.where(Booking.owner_id == person.id)).first()
    shared = select(Party.id).where(Party.person_id == person.id, col(Party.booking_id).in_(running))
    return own is not None or session.exec(shared).first() is not None


def need(
    session: Session, person: Person, helper: Person | None, desk: Desk, grade: int, now: datetime
) -> None:
    """Refused unless the person, or the helper they name, may do work of this grade."""
    months = desk.rules.value("hands_on_months")
    guards.need(session, person, desk.cryostat, 0)
    mine = standing(session, person, desk.cryostat, months, now)
    if mine.covers(grade):
        return
    if helper is not None:
        theirs = standing(session, helper, desk.cryostat, months, now)
        if theirs.covers(grade):
            return
        raise Refused("Not booked.", {"helper": _why(theirs, grade, desk.cryostat.name, helper.name)})
    fields = {"helper": _why(mine, grade, desk.cryostat.name, "you")}
    if mine.grade == 0 and grade == OPERATE:
        raise Forbidden(f"This needs grade 1 (operate) on {desk.cryostat.name}; ask the steward.")
    raise Refused("Not booked.", fields)


def _why(found: Standing, grade: int, name: str, who: str) -> str:
    if found.grade >= grade and found.lapsed_since is not None:
        has = "Your grade has" if who == "you" else f"The grade of {who} has"
        return (
            f"{has} lapsed on {name}: no hands-on work for too long. One accompanied opening brings it back: "
            f"name somebody of grade {grade} as helper"
        )
    have = "yours is" if who == "you" else f"that of {who} is"
    return (
        f"The hands-on work needs grade {grade} ({GRADES[grade]}) on {name}; {have} {found.grade}. "
        "Name a helper who has it"
    )


def helpers(session: Session, desk: Desk, grade: int, now: datetime) -> tuple[Person, ...]:
    """Everybody who may do work of this grade here."""
    months = desk.rules.value("hands_on_months")
    rows = [person for person, _ in guards.grade_rows(session, desk.cryostat)]
    found = [standing(session, person, desk.cryostat, months, now) for person in rows]
    return tuple(row.person for row in found if row.covers(grade))
