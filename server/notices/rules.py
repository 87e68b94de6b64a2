"""What a notice is, and in which order notices are told: by what stops work. Pure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from server.cryostats.rules import OPERATE, STEWARD

DUE, LOW, EXPIRING, OVERLAPPING, WARM = "due", "low", "expiring", "overlapping", "warm"
UNEXPLAINED, SILENT, LAPSED, MISSING = "unexplained", "silent", "lapsed", "missing"
KINDS = {
    DUE: "due",
    LOW: "low",
    EXPIRING: "expiring",
    OVERLAPPING: "overlapping",
    WARM: "warmer than predicted",
    UNEXPLAINED: "unexplained",
    SILENT: "silent",
    LAPSED: "lapsed",
    MISSING: "missing",
}
"""Kind → its word, in the order of what stops work."""
PLACE = {kind: place for place, kind in enumerate(KINDS)}
STOPS, SOON, KNOW = 0, 1, 2
"""Within a kind: what stops work now, what soon will, what is good to know."""
EXPIRY_NOTICE = timedelta(days=30)
"""How long before its last good day a lot is named (common practice, no source)."""


@dataclass(frozen=True)
class Notice:
    """A thing somebody should know today, with the one next step and where it is done.

    `key` stays the same from day to day while it is the same thing; `on` is the day it is due.
    """

    kind: str
    key: str
    what: str
    step: str
    address: str
    weight: int = SOON
    on: date | None = None


def in_order(notices: Iterable[Notice]) -> list[Notice]:
    """By kind, then what stops work first, then the earliest day."""
    return sorted(notices, key=lambda row: (PLACE[row.kind], row.weight, row.on or date.max, row.key))


@dataclass(frozen=True)
class Reach:
    """What concerns a person: their key, whether they are steward, their grade on each cryostat."""

    person_id: int
    steward: bool
    grades: Mapping[int, int] = field(default_factory=dict)

    def grade(self, cryostat_id: int | None) -> int:
        """The grade on a cryostat; None asks for the highest anywhere."""
        if self.steward:
            return STEWARD
        if cryostat_id is None:
            return max(self.grades.values(), default=0)
        return self.grades.get(cryostat_id, 0)

    def operates(self, cryostat_id: int | None) -> bool:
        """Whether what is wrong there is theirs to mend."""
        return self.grade(cryostat_id) >= OPERATE


def day_words(day: date, today: date) -> str:
    """`today`, `tomorrow`, `3 days ago`, else the date."""
    days = (day - today).days
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    if days in near:
        return near[days]
    return f"{-days} days ago" if -60 < days < 0 else f"on {day.day} {day:%b %Y}"
