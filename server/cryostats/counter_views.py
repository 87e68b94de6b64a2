"""What the page of counters shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.cryostats import counters, guards
from server.cryostats.counter_models import CounterEntry
from server.cryostats.counter_rules import COUNTED, COUNTERS, REPLACED, Counter, walked
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE
from server.people.models import Person

PAGE = 50


@dataclass(frozen=True)
class Standing:
    """One counter as it stands."""

    key: str
    about: Counter
    total: float | None
    """None before the first entry."""
    shown: float | None
    """What its meter showed last; nothing for what is counted here."""
    at: datetime | None


@dataclass(frozen=True)
class Line:
    """One entry of the past; `total` and `offset` are None for one that was corrected."""

    entry: CounterEntry
    about: Counter
    total: float | None
    offset: float | None

    @property
    def words(self) -> str:
        """What was done."""
        unit = f" {self.about.unit}" if self.about.unit else ""
        if self.entry.kind == COUNTED:
            return "one more, counted"
        if self.entry.kind == REPLACED:
            return f"meter replaced: {self.entry.shown:g}{unit}, fitted at {self.entry.began:g}{unit}"
        return f"read: {self.entry.shown:g}{unit}"


@dataclass(frozen=True)
class CountersView:
    """The page: what stands, the form, the past."""

    cryostat: Cryostat
    standing: Sequence[Standing]
    lines: Sequence[Line]
    more: bool
    hands_on: datetime | None
    may_read: bool
    may_replace: bool
    correcting: CounterEntry | None
    faults: Mapping[str, str]
    typed: Mapping[str, str]
    choices: Sequence[tuple[str, str]] = tuple((key, row.label) for key, row in COUNTERS.items())


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    correcting: int | None = None,
    faults: Mapping[str, str] | None = None,
    typed: Mapping[str, str] | None = None,
    most: int = PAGE,
) -> CountersView:
    """What stands and what was; with `correcting`, the form for what stands in for that entry."""
    old = counters.find(session, cryostat, correcting) if correcting is not None else None
    entries = counters.entries(session, cryostat)
    lines = _lines(entries)
    grade = guards.grade_of(session, person, cryostat)
    return CountersView(
        cryostat=cryostat,
        standing=[_standing(key, entries[key]) for key in COUNTERS],
        lines=lines[:most],
        more=len(lines) > most,
        hands_on=counters.last_hands_on(session, cryostat),
        may_read=grade >= OPERATE,
        may_replace=grade >= counters.SERVICE,
        correcting=old,
        faults=faults or {},
        typed=typed if typed is not None else _typed(old),
    )


def _typed(old: CounterEntry | None) -> dict[str, str]:
    return {"counter": old.counter, "value": f"{old.shown:g}", "note": old.note} if old else {}


def _standing(key: str, entries: Sequence[CounterEntry]) -> Standing:
    rows = walked(entries)
    last = rows[-1] if rows else None
    return Standing(
        key=key,
        about=COUNTERS[key],
        total=last.total if last else None,
        shown=last.total - last.offset if last and COUNTERS[key].metered else None,
        at=last.entry.at if last else None,
    )


def _lines(entries: Mapping[str, Sequence[CounterEntry]]) -> list[Line]:
    found = []
    for key, rows in entries.items():
        told = {reading.entry.id: reading for reading in walked(rows)}
        for row in rows:
            stands = told.get(row.id)
            found.append(
                Line(
                    row,
                    COUNTERS[key],
                    stands.total if stands else None,
                    stands.offset if stands else None,
                )
            )
    return sorted(found, key=lambda line: (line.entry.at, line.entry.id or 0), reverse=True)
