"""What the page of dirt and gas shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from server.cryostats import dirt, guards
from server.cryostats.dirt_models import DirtEntry
from server.cryostats.dirt_rules import KINDS, Asked, Kind, words
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN
from server.cryostats.typed import quantity
from server.people.models import Person
from server.units import show

PAGE = 50


@dataclass(frozen=True)
class DirtLine:
    """One entry."""

    entry: DirtEntry
    kind: str
    words: tuple[tuple[str, str], ...]
    corrected: bool


@dataclass(frozen=True)
class DirtView:
    """The page: what was written down, and the form of one kind."""

    cryostat: Cryostat
    rows: tuple[DirtLine, ...]
    more: bool
    kind: str
    about: Kind
    may_write: bool
    correcting: DirtEntry | None
    faults: Mapping[str, str]
    typed: Mapping[str, str]
    kinds: Sequence[tuple[str, str]] = field(default_factory=lambda: [(k, v.label) for k, v in KINDS.items()])

    def choices(self, asked: Asked) -> list[tuple[str, str]]:
        """What a field lets one choose from."""
        return [("", "not written down"), *((word, word) for word in asked.choices)]


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    kind: str = "solid",
    correcting: int | None = None,
    before: int | None = None,
    faults: Mapping[str, str] | None = None,
    typed: Mapping[str, str] | None = None,
) -> DirtView:
    """The newest entries and the form; with `correcting`, the form for what stands in for that entry."""
    rows = dirt.entries(session, cryostat, PAGE + 1, before)
    old = dirt.find(session, cryostat, correcting) if correcting is not None else None
    chosen = old.kind if old is not None else kind if kind in KINDS else "solid"
    corrected = dirt.corrected(session, cryostat)
    return DirtView(
        cryostat=cryostat,
        rows=tuple(
            DirtLine(row, KINDS[row.kind].label, words(row.kind, row.data), row.id in corrected)
            for row in rows[:PAGE]
        ),
        more=len(rows) > PAGE,
        kind=chosen,
        about=KINDS[chosen],
        may_write=guards.grade_of(session, person, cryostat) >= OPEN,
        correcting=old,
        faults=faults or {},
        typed=typed if typed is not None else _typed(old),
    )


def _typed(old: DirtEntry | None) -> dict[str, str]:
    """The form of a correction begins with what stood there."""
    return {} if old is None else {"what": old.what, "note": old.note, **dict(words_of(old))}


def words_of(entry: DirtEntry) -> list[tuple[str, str]]:
    """Field → text as it can be typed again."""
    units = {asked.name: asked.unit for asked in KINDS[entry.kind].asked}
    return [
        (name, show(quantity(value), units[name]) if units[name] else str(value))
        for name, value in entry.data.items()
    ]
