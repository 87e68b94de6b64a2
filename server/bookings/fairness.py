"""Who has used how much: cold hours and changeover hours caused, over some days, against a group's share.

Everything is a sum of stored phases, so that anybody can do it again by hand.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from server.bookings import lines
from server.bookings.checks import changeover_hours
from server.bookings.models import Booking, BookingStep, Group, Member, Party
from server.bookings.numbers import Numbers
from server.bookings.rules import WINDOW, Phase
from server.errors import NotFound
from server.people.models import Person

GIVEN_BACK = "Hours given back"


@dataclass(frozen=True)
class Use:
    """What one group used. `part` is what it used of all, `fair` what its share would be."""

    group: Group
    cold_h: float
    changeover_h: float
    part: float
    fair: float

    @property
    def hours(self) -> float:
        """Both together."""
        return self.cold_h + self.changeover_h

    @property
    def beyond(self) -> bool:
        """True when it used more than its share."""
        return self.part > self.fair + 1e-9


def groups(session: Session) -> Sequence[Group]:
    """All groups, by name."""
    return session.exec(select(Group).order_by(Group.name)).all()


def groups_of(session: Session, person: Person) -> Sequence[Group]:
    """The groups somebody may book for; a steward may for all."""
    query = select(Group).where(col(Group.closed).is_(False)).order_by(Group.name)
    if not person.steward:
        own = select(Member.group_id).where(Member.person_id == person.id)
        query = query.where(col(Group.id).in_(own))
    return session.exec(query).all()


def group(session: Session, number: int) -> Group:
    """One group; NotFound."""
    found = session.get(Group, number) if 0 < number < 2**31 else None
    if found is None:
        raise NotFound(f"There is no group {number}.")
    return found


def cut(phases: Iterable[Phase], first: datetime, last: datetime) -> tuple[Phase, ...]:
    """What of a chain lies between two moments."""
    rows = (Phase(row.kind, max(row.starts, first), min(row.ends, last)) for row in phases)
    return tuple(row for row in rows if row.ends > row.starts)


def use(session: Session, rules: Numbers, at: datetime) -> tuple[Use, ...]:
    """What each group used over the days that count, up to `at`; a training session counts in part."""
    first = at - timedelta(days=rules.value("quota_days"))
    cold, over = hours(session, first, at, rules.value("training_part"))
    return _against_shares(groups(session), cold, over)


def hours(
    session: Session,
    first: datetime,
    last: datetime,
    training_part: float = 1.0,
    cryostat_id: int | None = None,
) -> tuple[dict[int, float], dict[int, float]]:
    """Group → cold hours and group → changeover hours between two moments, as booked, less hours given back.

    `cryostat_id` None is all of them.
    """
    query = select(Booking).where(col(Booking.occupancy_id).is_not(None), col(Booking.window_ends) > first)
    if cryostat_id is not None:
        query = query.where(Booking.cryostat_id == cryostat_id)
    bookings = [row for row in session.exec(query).all() if row.window_starts and row.window_starts < last]
    parties = _parties(session, [row.id or 0 for row in bookings])
    back = _given_back(session, [row.id or 0 for row in bookings])
    cold: dict[int, float] = {}
    over: dict[int, float] = {}
    for row in bookings:
        part = training_part if row.training else 1.0
        phases = cut(lines.phases_of(row), first, last)
        window = sum(phase.hours for phase in phases if phase.kind == WINDOW) - back.get(row.id or 0, 0.0)
        for key, share in _shares(row, parties.get(row.id or 0, ())).items():
            cold[key] = cold.get(key, 0.0) + part * share * max(window, 0.0)
            over[key] = over.get(key, 0.0) + part * share * changeover_hours(phases)
    return cold, over


def _against_shares(
    rows: Sequence[Group], cold: Mapping[int, float], over: Mapping[int, float]
) -> tuple[Use, ...]:
    total = sum(cold.values()) + sum(over.values())
    shares = sum(row.share for row in rows if not row.closed) or 1.0
    found = []
    for row in rows:
        key = row.id or 0
        mine = cold.get(key, 0.0) + over.get(key, 0.0)
        fair = 0.0 if row.closed else row.share / shares
        found.append(Use(row, cold.get(key, 0.0), over.get(key, 0.0), mine / total if total else 0.0, fair))
    return tuple(found)


def _shares(booking: Booking, parties: Sequence[Party]) -> dict[int, float]:
    """Group → its part of a booking, by the hours each party brought."""
    if not parties:
        return {booking.group_id: 1.0} if booking.group_id is not None else {}
    total = sum(row.cold_hours for row in parties) or 1.0
    found: dict[int, float] = {}
    for row in parties:
        if row.group_id is not None:
            found[row.group_id] = found.get(row.group_id, 0.0) + row.cold_hours / total
    return found


def _parties(session: Session, keys: Sequence[int]) -> dict[int, list[Party]]:
    found: dict[int, list[Party]] = {}
    for row in session.exec(select(Party).where(col(Party.booking_id).in_(keys))).all():
        found.setdefault(row.booking_id, []).append(row)
    return found


def _given_back(session: Session, keys: Sequence[int]) -> dict[int, float]:
    """Booking → cold hours a fault of the instrument took, which count for nobody."""
    query = select(BookingStep).where(col(BookingStep.booking_id).in_(keys), BookingStep.what == GIVEN_BACK)
    found: dict[int, float] = {}
    for row in session.exec(query).all():
        found[row.booking_id] = found.get(row.booking_id, 0.0) + float(row.data["hours"])
    return found


def quota_fault(
    session: Session, rules: Numbers, group_id: int | None, window_starts: datetime, now: datetime
) -> str:
    """Why a group may not take time so far ahead; empty when it may."""
    ahead = rules.value("ahead_days")
    if group_id is None or window_starts <= now + timedelta(days=ahead):
        return ""
    mine = next((row for row in use(session, rules, now) if row.group.id == group_id), None)
    if mine is None or not mine.beyond:
        return ""
    return (
        f"{mine.group.name} has used {100 * mine.part:.0f} % of the hours of the last "
        f"{rules.value('quota_days'):g} days, its share is {100 * mine.fair:.0f} %: "
        f"it takes what is free within {ahead:g} days"
    )
