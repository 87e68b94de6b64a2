"""Where the ticks of a plot stand: linear, by decades, and on the laboratory's own clock. Pure."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

MINUTE, HOUR, DAY = 60, 3600, 86400
WITHIN_A_DAY = (1, 2, 5, 10, 15, 30, *(minutes * 60 for minutes in (1, 2, 3, 6, 12)))
"""Steps of a time axis that divide a day, in minutes."""
DAYS = (1, 2, 7, 14, 28, 91, 182, 364)
MOST_TIMES, MOST_VALUES = 9, 6
LEAST = 1e-30
"""Below it a value is zero to a plot: no pressure, leak or power that is measured here is smaller."""


class Tick(NamedTuple):
    """A value on an axis and what is written there; nothing for a minor one."""

    value: float
    label: str


@dataclass(frozen=True)
class Scale:
    """One axis of values: its ends, and whether equal ratios lie equally far apart."""

    low: float
    high: float
    decades: bool

    def share(self, value: float) -> float:
        """0 at the low end, 1 at the high one."""
        if not self.decades:
            return (value - self.low) / (self.high - self.low)
        least = math.log10(self.low)
        return (math.log10(max(value, self.low * 1e-6)) - least) / (math.log10(self.high) - least)

    def ticks(self) -> list[Tick]:
        """Its ticks."""
        return _by_decades(self.low, self.high) if self.decades else _evenly(self.low, self.high)


def scale(low: float, high: float, decades: bool) -> Scale:
    """A scale that holds both ends with a little room; by decades only where all is well above zero."""
    if decades and low > LEAST:
        room = max(math.log10(high / low) * 0.04, 0.01)
        return Scale(low / 10**room, high * 10**room, decades=True)
    largest = max(abs(low), abs(high))
    level = high - low <= 1e-9 * largest or largest < LEAST
    room = (0.02 * largest if largest > LEAST else 1.0) if level else 0.05 * (high - low)
    return Scale(low - room, high + room, decades=False)


def _evenly(low: float, high: float) -> list[Tick]:
    rough = (high - low) / MOST_VALUES
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    return [Tick(n * step, _number(n * step, places)) for n in range(first, last + 1)]


def _number(value: float, places: int) -> str:
    text = f"{value:.1e}" if value and not 1e-4 <= abs(value) < 1e6 else f"{value:.{min(places, 9)}f}"
    return text.replace("-", "−")


def _by_decades(low: float, high: float) -> list[Tick]:
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    factors = (1, 2, 5) if len(decades) <= 4 else (1,)
    every = math.ceil(len(decades) / 8)
    found = [
        Tick(factor * 10.0**decade, _decade(factor, decade))
        for decade in decades
        if decade % every == 0
        for factor in factors
        if low <= factor * 10.0**decade <= high
    ]
    return found if len(found) > 1 else _evenly(low, high)


def _decade(factor: int, decade: int) -> str:
    if -3 <= decade <= 4:
        return f"{factor * 10.0**decade:.{max(0, -decade)}f}"
    return f"{factor}e{decade}".replace("-", "−")


def times(begin_s: float, end_s: float, zone: str) -> list[Tick]:
    """Ticks at round times of the laboratory's clock, right across a change of it."""
    span_min = (end_s - begin_s) / MINUTE
    step = next((step for step in WITHIN_A_DAY if span_min / step <= MOST_TIMES), None)
    if step is not None:
        return _thinned([*_clock(begin_s, end_s, ZoneInfo(zone), step)], step * MINUTE)
    days = next((days for days in DAYS if span_min / (1440 * days) <= MOST_TIMES), DAYS[-1])
    return [*_midnights(begin_s, end_s, ZoneInfo(zone), days)]


def _days(begin_s: float, end_s: float, zone: ZoneInfo) -> Iterator[date]:
    day = datetime.fromtimestamp(begin_s, zone).date()
    last = datetime.fromtimestamp(end_s, zone).date()
    while day <= last:
        yield day
        day += timedelta(days=1)


def _clock(begin_s: float, end_s: float, zone: ZoneInfo, step_min: int) -> Iterator[Tick]:
    for day in _days(begin_s, end_s, zone):
        seen = set()
        for minute in range(0, 1440, step_min):
            here = datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=zone)
            # An hour that comes twice has two ticks; one that does not come has none.
            for fold in (0, 1):
                at = here.replace(fold=fold).timestamp()
                back = datetime.fromtimestamp(at, zone)
                if back.hour * 60 + back.minute == minute and at not in seen and begin_s <= at <= end_s:
                    seen.add(at)
                    yield Tick(at, f"{day.day} {day:%b}" if minute == 0 else f"{here:%H:%M}")


def _thinned(ticks: list[Tick], step_s: float) -> list[Tick]:
    """Without a tick that a clock change has pushed close to the one before."""
    ticks.sort()
    close = {after for before, after in pairwise(ticks) if after.value - before.value < 0.45 * step_s}
    return [tick for tick in ticks if tick not in close]


def _midnights(begin_s: float, end_s: float, zone: ZoneInfo, every: int) -> Iterator[Tick]:
    for day in _days(begin_s, end_s, zone):
        at = datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()
        if day.toordinal() % every == 0 and begin_s <= at <= end_s:
            yield Tick(at, f"{day.day} {day:%b}" if every < 91 else f"{day:%b %Y}")


def spoken(at_s: float, zone: str) -> str:
    """A moment on the laboratory's clock, to the minute, with its zone."""
    here = datetime.fromtimestamp(at_s, UTC).astimezone(ZoneInfo(zone))
    return f"{here.day} {here:%b %Y, %H:%M} {here.tzname()}"
