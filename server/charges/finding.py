"""Charge lines found again: those a person may see, each with what was said about it and its corrections."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, true
from sqlmodel import Session, col, or_, select

from server.bookings import fairness
from server.bookings.models import Booking, Party
from server.charges.models import ChargeEntry, ChargeLine
from server.charges.rules import MADE
from server.cryostats.models import Cryostat
from server.errors import Forbidden, NotFound
from server.people.models import Person

LARGEST_KEY = 2**31 - 1


@dataclass(frozen=True)
class Told:
    """A line as it was made, its corrections, and what was said."""

    line: ChargeLine
    cryostat: str
    corrections: Sequence[ChargeLine]
    entries: Sequence[ChargeEntry]

    @property
    def state(self) -> str:
        """Made, disputed, stands or corrected: the entry written last."""
        return self.entries[-1].what if self.entries else MADE

    @property
    def cents(self) -> int:
        """What it comes to with its corrections."""
        return self.line.cents + sum(row.cents for row in self.corrections)

    @property
    def seconds(self) -> int:
        """The hours it comes to with its corrections."""
        return self.line.seconds + sum(row.seconds for row in self.corrections)


def of_month(session: Session, person: Person, month: str) -> list[Told]:
    """The lines of a month that a person may see, by payer and booking; every line for a steward."""
    query = select(ChargeLine).where(ChargeLine.month == month, col(ChargeLine.corrects).is_(None))
    rows = session.exec(query.where(_mine(session, person)).order_by(col(ChargeLine.id))).all()
    told = _told(session, rows)
    return sorted(told, key=lambda row: (row.line.payer, row.line.booking_id, row.line.id or 0))


def of_bookings(session: Session, keys: Sequence[int]) -> list[Told]:
    """Every line of some bookings, of whichever month, for whoever makes the lines."""
    query = select(ChargeLine).where(col(ChargeLine.booking_id).in_(keys), col(ChargeLine.corrects).is_(None))
    return _told(session, session.exec(query).all())


def one(session: Session, person: Person, number: int, *, lock: bool = False) -> Told:
    """One line; NotFound where there is none, Forbidden where it is another group's."""
    query = select(ChargeLine).where(ChargeLine.id == number, col(ChargeLine.corrects).is_(None))
    row = (
        session.exec(query.with_for_update() if lock else query).first()
        if 0 < number <= LARGEST_KEY
        else None
    )
    if row is None:
        raise NotFound(f"There is no charge line {number}.")
    if not session.exec(query.where(_mine(session, person))).first():
        raise Forbidden("This line is another group's.")
    return _told(session, [row])[0]


def _mine(session: Session, person: Person) -> ColumnElement[bool]:
    """The lines of a person's groups, and of what they booked for none; all for a steward."""
    if person.steward:
        return true()
    groups = [row.id for row in fairness.groups_of(session, person)]
    own = select(Booking.id).where(Booking.owner_id == person.id)
    shared = select(Party.booking_id).where(Party.person_id == person.id)
    mine = or_(
        col(ChargeLine.booking_id).in_(own),
        col(ChargeLine.booking_id).in_(shared) & (col(ChargeLine.payer) == person.name),
    )
    return or_(col(ChargeLine.group_id).in_(groups), col(ChargeLine.group_id).is_(None) & mine)


def _told(session: Session, rows: Sequence[ChargeLine]) -> list[Told]:
    keys = [row.id or 0 for row in rows]
    corrections = _by_line(
        session.exec(
            select(ChargeLine).where(col(ChargeLine.corrects).in_(keys)).order_by(col(ChargeLine.id))
        ).all()
    )
    entries: dict[int, list[ChargeEntry]] = defaultdict(list)
    query = select(ChargeEntry).where(col(ChargeEntry.line_id).in_(keys)).order_by(col(ChargeEntry.id))
    for entry in session.exec(query).all():
        entries[entry.line_id].append(entry)
    names = {row.id: row.name for row in session.exec(select(Cryostat)).all()}
    return [
        Told(row, names[row.cryostat_id], corrections.get(row.id or 0, ()), entries.get(row.id or 0, ()))
        for row in rows
    ]


def _by_line(rows: Sequence[ChargeLine]) -> Mapping[int, list[ChargeLine]]:
    found: dict[int, list[ChargeLine]] = defaultdict(list)
    for row in rows:
        found[row.corrects or 0].append(row)
    return found


def months(session: Session, person: Person) -> Sequence[str]:
    """The months that have lines a person may see, newest first."""
    query = select(ChargeLine.month).distinct()
    return session.exec(query.where(_mine(session, person)).order_by(col(ChargeLine.month).desc())).all()
