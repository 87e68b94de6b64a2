"""What readings may be before they are stored. Pure.

One moment of a channel has one value. The same value sent again changes nothing, in any order and overlap.
Another value at a moment that has one is refused, and nothing of what was sent is stored; only where a person
says why does the newer value take the place, and then what stood is kept beside.
A cell that is no number is no reading: the gap stays a gap.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.cooldowns.blocks import HOUR_MS, Moments, Values, same
from server.cryostats.rules import EARLIEST_YEAR

AHEAD_S = 300.0
"""A clock may be this much fast."""
EARLIEST_MS = int(datetime(EARLIEST_YEAR + 1, 1, 1, tzinfo=UTC).timestamp() * 1000)
LARGEST = 1e100
MOST_SAID = 3


@dataclass(frozen=True)
class Clean:
    """Readings of one channel in order, each moment once; and what is wrong with them, empty if nothing."""

    times_ms: Moments
    values: Values
    gaps: int
    fault: str = ""
    twice: int = 0
    """Of how many moments two different values were sent."""

    def hours(self) -> list[tuple[int, slice]]:
        """Each hour with its stretch of the readings."""
        hours = self.times_ms // HOUR_MS
        starts = np.flatnonzero(np.diff(hours, prepend=-1))
        ends = [*starts[1:].tolist(), len(hours)][: len(starts)]
        pairs = zip(starts.tolist(), ends, strict=True)
        return [(int(hours[start]), slice(start, end)) for start, end in pairs]


def clean(times_s: ArrayLike, values: ArrayLike, now: datetime, newer_counts: bool = False) -> Clean:
    """Readings as they may be stored: in order, no gaps among them, each moment once.

    Of two different values at one moment the later in the sequence counts where `newer_counts`; else that is
    a fault.
    """
    times, numbers = np.asarray(times_s, np.float64), np.asarray(values, np.float64)
    if times.shape != numbers.shape or times.ndim != 1:
        return _nothing("Send as many times as values")
    if not np.isfinite(times).all() or (np.abs(times) > 1e11).any():
        return _nothing("A time is no moment: send seconds since 1970 UTC")
    kept = np.isfinite(numbers)
    moments = np.rint(times[kept] * 1000.0).astype(np.int64)
    order = np.argsort(moments, kind="stable")
    moments, numbers = moments[order], numbers[kept][order]
    fault = _range_fault(moments, numbers, now)
    if fault:
        return _nothing(fault)
    moments, numbers, again = _each_once(moments, numbers)
    fault = _twice(again) if len(again) and not newer_counts else ""
    return Clean(moments, numbers, int((~kept).sum()), fault, len(again))


def _nothing(fault: str) -> Clean:
    return Clean(np.empty(0, np.int64), np.empty(0), 0, fault)


def _range_fault(moments: Moments, numbers: Values, now: datetime) -> str:
    if not len(moments):
        return ""
    if moments[0] < EARLIEST_MS:
        return f"{shown(int(moments[0]))} is too long ago; is the time in the unit and zone you said?"
    if moments[-1] > (now.timestamp() + AHEAD_S) * 1000:
        return f"{shown(int(moments[-1]))} lies ahead; is the time in the unit and zone you said?"
    if (np.abs(numbers) > LARGEST).any():
        return "A value is too large to be a reading"
    return ""


def _each_once(moments: Moments, numbers: Values) -> tuple[Moments, Values, Moments]:
    """Each moment once, with the value that came last; and the moments that had different ones."""
    if not len(moments):
        return moments, numbers, moments
    # Of equal moments the last in the sequence stands; the sort before kept the sequence.
    last = np.append(np.diff(moments) > 0, True)
    again = ~last[:-1] & ~same(numbers[:-1], numbers[1:])
    return moments[last], numbers[last], np.unique(moments[:-1][again])


def _twice(moments: Moments) -> str:
    more = f" and {len(moments) - MOST_SAID} more" if len(moments) > MOST_SAID else ""
    return f"Two different values at {', '.join(shown(int(m)) for m in moments[:MOST_SAID])}{more}"


def differing_words(moments: Moments, before: Values, after: Values) -> str:
    """What stands and what was sent instead, the first of them said."""
    rows = zip(moments[:MOST_SAID].tolist(), before.tolist(), after.tolist(), strict=False)
    said = "; ".join(f"{shown(at)}: {old:.6g} stands, {new:.6g} was sent" for at, old, new in rows)
    more = f"; and {len(moments) - MOST_SAID} more" if len(moments) > MOST_SAID else ""
    return f"Another value stands at {said}{more}"


def shown(moment_ms: int) -> str:
    """A moment in UTC, to the second or finer where it is."""
    try:
        at = datetime.fromtimestamp(moment_ms / 1000, UTC)
    except (ValueError, OverflowError, OSError):
        return f"{moment_ms / 1000:.0f} s"
    return f"{at:%Y-%m-%d %H:%M:%S}{f'.{moment_ms % 1000:03d}' if moment_ms % 1000 else ''} UTC"


def moment_ms(at: datetime) -> int:
    """Milliseconds since 1970."""
    return round(at.timestamp() * 1000)


def moment(at_ms: int) -> datetime:
    """The inverse."""
    return datetime.fromtimestamp(at_ms / 1000, UTC)


@dataclass(frozen=True)
class Stored:
    """What became of readings that were sent: new, already there, put in place of others; gaps left out."""

    new: int = 0
    already: int = 0
    superseded: int = 0
    gaps: int = 0

    def __add__(self, other: "Stored") -> "Stored":
        return Stored(
            self.new + other.new,
            self.already + other.already,
            self.superseded + other.superseded,
            self.gaps + other.gaps,
        )

    @property
    def words(self) -> str:
        """`1,200 new, 30 already there`."""
        parts = (
            (self.new, "new"),
            (self.already, "already there"),
            (self.superseded, "in place of others"),
            (self.gaps, "gap left out" if self.gaps == 1 else "gaps left out"),
        )
        said = ", ".join(f"{count:,} {word}" for count, word in parts if count)
        return said or "nothing"


ChannelValues = Mapping[str, tuple[ArrayLike, ArrayLike]]
"""Name of a channel → (seconds since 1970 UTC, values in the channel's own unit)."""
Mask = NDArray[np.bool_]
