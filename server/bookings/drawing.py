"""Phases along a line of time, in the picture's own units. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from server.bookings.rules import WINDOW, Phase

WIDTH = 1000.0
LETTER = 7.0
"""How wide a letter is at the most, in the picture's units."""
SHORT = {
    "hand-over-in": "in",
    "warm-up": "warm",
    "vent": "vent",
    "refit": "refit",
    "close": "close",
    "pump": "pump",
    "cool": "cool",
    "settle": "settle",
    "window": "cold window",
    "hand-over-out": "out",
    "wait": "wait",
}


@dataclass(frozen=True)
class Bar:
    """One phase as it is drawn; `text` is empty where there is no room for it."""

    kind: str
    x: float
    width: float
    text: str
    words: str
    starts: datetime
    ends: datetime


def place(moment: datetime, first: datetime, last: datetime, width: float) -> float:
    """Where a moment stands on a line from `first` to `last`; outside it, at its end."""
    share = (moment - first) / (last - first)
    return round(width * min(max(share, 0.0), 1.0), 2)


def bars(
    phases: Sequence[Phase], first: datetime, last: datetime, width: float, name: str = ""
) -> tuple[Bar, ...]:
    """The phases that reach into a stretch of time; the cold window says whose it is when a name is given."""
    found = []
    for row in phases:
        if row.ends <= first or row.starts >= last:
            continue
        x = place(row.starts, first, last, width)
        room = place(row.ends, first, last, width) - x
        words = (name or SHORT[row.kind]) if row.kind == WINDOW else SHORT[row.kind]
        found.append(Bar(row.kind, x, round(room, 2), fitted(words, room), row.words, row.starts, row.ends))
    return tuple(found)


def fitted(words: str, room: float) -> str:
    """A text, or as much of it as there is room for; nothing when not even three letters fit."""
    letters = int(room // LETTER)
    if len(words) <= letters:
        return words
    return f"{words[: letters - 1]}…" if letters > 3 else ""


@dataclass(frozen=True)
class Tick:
    """A day's beginning on the line."""

    x: float
    width: float
    day: date
    works: bool
    free: str
    """The holiday's name, or nothing."""

    @property
    def words(self) -> str:
        """`Mon 16 Mar`."""
        return f"{self.day:%a} {self.day.day} {self.day:%b}"

    @property
    def number(self) -> int:
        """The day of the month."""
        return self.day.day


def hours_between(first: datetime, last: datetime) -> float:
    """Hours that really pass between two moments, a clock change among them."""
    return (last - first) / timedelta(hours=1)
