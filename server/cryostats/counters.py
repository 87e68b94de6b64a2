"""Counters of a cryostat: running hours by their meters, cooldowns and openings by counting; hands on dates.

Everything here is a reading that stays. The rooms above push what they count; nothing is asked of them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, func, select

from server.cryostats import counter_rules, guards
from server.cryostats.counter_models import CounterEntry, HandsOn
from server.cryostats.counter_rules import COUNTED, READ, REPLACED, Reading, faults, walked
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.laboratory import service as laboratory
from server.people.models import Person

COUNTERS = counter_rules.COUNTERS
SERVICE = 4
"""The grade that may say a meter was replaced."""
LARGEST_KEY = 2**31 - 1
NOT_STORED = "The reading was not stored."


@dataclass(frozen=True)
class Shown:
    """What a meter showed at `at` (None: now), in the counter's own unit.

    With `replaced` it is another meter, which showed `began` when it was fitted. `corrects` is the number of
    an entry that was wrong.
    """

    counter: str
    value: float
    at: datetime | None = None
    note: str = ""
    replaced: bool = False
    began: float = 0.0
    corrects: int | None = None


def read(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    said: Shown,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> CounterEntry:
    """Store what a meter showed. `unread` are faults found while reading a form.

    A reading below what stood before is refused, unless the meter was replaced: then the counter goes on from
    where it stood.
    """
    guards.find(session, cryostat.slug, lock=True)
    guards.need(session, person, cryostat, SERVICE if said.replaced else OPERATE)
    if said.counter not in COUNTERS:
        raise Refused(NOT_STORED, {"counter": "Choose one of the counters"})
    old = _to_correct(session, cryostat, said.counter, said.corrects)
    assert cryostat.id is not None
    row = CounterEntry(
        cryostat_id=cryostat.id,
        counter=said.counter,
        kind=REPLACED if said.replaced else READ,
        shown=said.value,
        began=said.began,
        corrects=said.corrects,
        note=said.note.strip(),
        at=said.at or (old.at if old else now),
        recorded_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    zone = laboratory.get(session).zone
    found = dict(unread or {}) or faults(row, _entries(session, cryostat, said.counter), now, zone)
    if found:
        raise Refused(NOT_STORED, found)
    return _store(session, person, cryostat, row, now)


def _to_correct(
    session: Session, cryostat: Cryostat, counter: str, number: int | None
) -> CounterEntry | None:
    if number is None:
        return None
    found = find(session, cryostat, number)
    if found.counter != counter:
        raise Refused(NOT_STORED, {"counter": "A correction stays with its counter"})
    other = session.exec(select(CounterEntry).where(CounterEntry.corrects == number)).first()
    if other is not None:
        raise Conflict(f"{other.by_name} has corrected this entry already; correct the newer one.")
    return found


def _store(
    session: Session, person: Person, cryostat: Cryostat, row: CounterEntry, now: datetime
) -> CounterEntry:
    session.add(row)
    session.flush()
    counter = COUNTERS[row.counter]
    words = {READ: "read", REPLACED: "another meter, read", COUNTED: "one more,"}[row.kind]
    line = f"{counter.label}: {words} {row.shown:g} {counter.unit}".rstrip()
    if row.corrects is not None:
        line += f", instead of entry {row.corrects}"
    history.note(session, person, f"cryostat/{cryostat.slug}", line, now)
    return row


def count(
    session: Session, person: Person, cryostat: Cryostat, counter: str, at: datetime, now: datetime
) -> CounterEntry:
    """One more of what is counted. Asked by the room whose work it is, which has asked for the grade."""
    if counter not in COUNTERS or COUNTERS[counter].metered:
        raise ValueError(f"{counter} is not counted but read")
    assert cryostat.id is not None
    row = CounterEntry(
        cryostat_id=cryostat.id,
        counter=counter,
        kind=COUNTED,
        shown=1.0,
        at=at,
        recorded_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    return _store(session, person, cryostat, row, now)


def find(session: Session, cryostat: Cryostat, number: int) -> CounterEntry:
    """One entry of this cryostat; NotFound."""
    found = session.get(CounterEntry, number) if 0 < number <= LARGEST_KEY else None
    if found is None or found.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such reading.")
    return found


def _entries(session: Session, cryostat: Cryostat, counter: str) -> Sequence[CounterEntry]:
    query = select(CounterEntry).where(
        CounterEntry.cryostat_id == cryostat.id, CounterEntry.counter == counter
    )
    return session.exec(query).all()


def entries(session: Session, cryostat: Cryostat) -> Mapping[str, Sequence[CounterEntry]]:
    """Counter → every entry of it, corrected ones too; one query."""
    query = select(CounterEntry).where(CounterEntry.cryostat_id == cryostat.id)
    found: dict[str, list[CounterEntry]] = {name: [] for name in COUNTERS}
    for row in session.exec(query.order_by(col(CounterEntry.at), col(CounterEntry.id))).all():
        found.setdefault(row.counter, []).append(row)
    return found


def readings(session: Session, cryostat: Cryostat, counter: str) -> list[Reading]:
    """What stands of a counter, the oldest first, each with its total."""
    return walked(_entries(session, cryostat, counter))


def value(session: Session, cryostat: Cryostat, counter: str, at: datetime | None = None) -> float:
    """What the counter had come to, now or at `at`, in its own unit; 0 before the first entry."""
    rows = [row for row in readings(session, cryostat, counter) if at is None or row.entry.at <= at]
    return rows[-1].total if rows else 0.0


def hands_on(session: Session, cryostat: Cryostat, at: datetime, person: Person | None = None) -> HandsOn:
    """Write down that hands were on it at `at`, and whose: opened, closed, cooled."""
    assert cryostat.id is not None
    row = HandsOn(
        cryostat_id=cryostat.id,
        person_id=person.id if person else None,
        person_name=person.name if person else "",
        at=at,
    )
    session.add(row)
    session.flush()
    return row


def last_hands_on(session: Session, cryostat: Cryostat, person: Person | None = None) -> datetime | None:
    """When hands were on it last, anybody's or this person's; None for never."""
    query = select(func.max(HandsOn.at)).where(HandsOn.cryostat_id == cryostat.id)
    if person is not None:
        query = query.where(HandsOn.person_id == person.id)
    return session.exec(query).one()
