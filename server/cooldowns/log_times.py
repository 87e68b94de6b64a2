"""The times of a log, by whatever clock it kept, as seconds since 1970 UTC. Pure.

A time with its zone is what it says. One without is the laboratory's, or UTC where a person says so. In the
hour that a clock change repeats, the order of the lines tells the first from the second, and that is said.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from server.cooldowns.blocks import Moments, Values

ISO = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,9})?")
ZONED = re.compile(r"(?:Z|UTC|[+-][0-9]{2}:?[0-9]{2})$")
DAYS = re.compile(r"(?P<a>[0-9]{1,4})(?P<mark>[-/. ])(?P<b>[0-9]{1,2}|[A-Za-z]{3})[-/. ](?P<c>[0-9]{2,4})")
CLOCK = re.compile(
    r"(?P<h>[0-9]{1,2}):(?P<m>[0-9]{2})(?::(?P<s>[0-9]{2})(?:[.,](?P<part>[0-9]+))?)? ?(?P<half>[AaPp][Mm])?"
)
APART = re.compile(r"(.+?)(?:T|_|, ?| +)(\d{1,2}:.*)")
MONTHS = {
    name: n
    for n, name in enumerate(
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"], 1
    )
}
SLOT_MS = 900_000
"""A zone changes its offset at whole quarters of an hour: nothing finer has to be asked."""
MILLISECONDS_FROM = 1e11
"""Seconds since 1970 are smaller than this until the year 5138; beyond it they are milliseconds."""


class BadTime(ValueError):
    """A time that cannot be read; `row` is where among the cells."""

    def __init__(self, row: int, text: str) -> None:
        super().__init__(text)
        self.row = row


@dataclass(frozen=True)
class Clock:
    """How times without a zone are meant, and which number of a date with slashes is the day."""

    zone: str
    order: str = ""
    """`day` or `month` first; nothing: as the dates themselves tell."""


@dataclass(frozen=True)
class Told:
    """Seconds since 1970 UTC for each row, and what is to be said about them."""

    seconds: Values
    notes: tuple[str, ...] = ()


def stamps(cells: Sequence[str], clock: Clock) -> Told:
    """Days with their clock. BadTime for the first that cannot be read."""
    tidy = [cell.strip() for cell in cells]
    if tidy and ZONED.search(tidy[0]):
        return Told(np.array([_zoned(row, cell, clock) for row, cell in enumerate(tidy)], np.float64))
    naive = _iso(tidy) if all(map(ISO.fullmatch, tidy[:1] + tidy[-1:])) else None
    if naive is None:
        naive = _spelt(tidy, clock)
    return localised(naive, clock.zone)


def _iso(cells: Sequence[str]) -> Moments | None:
    """Milliseconds of ISO times without a zone, read by numpy; None where one of them is something else."""
    if min(map(len, cells)) < 19:
        return None
    try:
        return np.array(cells, "datetime64[ms]").astype(np.int64)
    except ValueError:
        return None


def _zoned(row: int, cell: str, clock: Clock) -> float:
    text = cell.removesuffix("UTC").strip() + ("+00:00" if cell.endswith("UTC") else "")
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        mark = ZONED.search(text)
        if mark is None:
            raise BadTime(row, f"“{cell[:40]}” has no zone, unlike the first") from None
        naive = int(_spelt([text[: mark.start()].strip()], clock, row)[0])
        at = datetime.fromisoformat("1970-01-01T00:00:00" + mark[0]) + timedelta(milliseconds=naive)
    if at.tzinfo is None:
        raise BadTime(row, f"“{cell[:40]}” has no zone, unlike the first")
    return at.timestamp()


def _spelt(cells: Sequence[str], clock: Clock, first: int = 0) -> Moments:
    """Milliseconds of days and clocks in any spelling."""
    apart = [APART.fullmatch(cell) for cell in cells]
    for row, found in enumerate(apart):
        if found is None:
            raise BadTime(first + row, f"“{cells[row][:40]}” is no day with its clock")
    pairs = [(found[1], found[2]) for found in apart if found is not None]
    days = {day: -1 for day, _ in pairs}
    day_first = _day_first(days, clock.order)
    found_ms = np.empty(len(pairs), np.int64)
    for row, (day, at) in enumerate(pairs):
        if days[day] < 0:
            days[day] = _day_ms(day, day_first, first + row)
        found_ms[row] = days[day] + _clock_ms(at, first + row)
    return found_ms


def _day_first(days: Sequence[str] | dict[str, int], order: str) -> bool | None:
    """Which number is the day: as a person says, else as the dates tell; None where neither does."""
    if order:
        return order == "day"
    found = [match for match in map(DAYS.fullmatch, days) if match and len(match["a"]) < 3]
    if any(match["mark"] == "." or match["b"].isalpha() or int(match["a"]) > 12 for match in found):
        return True
    return False if any(int(match["b"]) > 12 for match in found) else None


def _day_ms(day: str, day_first: bool | None, row: int) -> int:
    found = DAYS.fullmatch(day.strip())
    if found is None:
        raise BadTime(row, f"“{day[:40]}” is no date")
    a, b, c = found["a"], MONTHS.get(found["b"].lower(), found["b"]), found["c"]
    if str(b).isalpha():
        raise BadTime(row, f"“{found['b']}” is no month")
    if len(a) < 3 and day_first is None:
        raise BadTime(row, f"“{day}” can be read both ways: say whether the day or the month comes first")
    year, month, date = (a, b, c) if len(a) > 2 else (c, b, a) if day_first else (c, a, b)
    whole = int(year) + 2000 if len(str(year)) == 2 else int(year)
    try:
        return round(datetime(whole, int(month), int(date), tzinfo=UTC).timestamp() * 1000)
    except (ValueError, OverflowError):
        raise BadTime(row, f"There is no day “{day}”") from None


def _clock_ms(text: str, row: int) -> int:
    found = CLOCK.fullmatch(text.strip())
    if found is None:
        raise BadTime(row, f"“{text[:40]}” is no clock")
    hour = int(found["h"])
    if found["half"]:
        hour = hour % 12 + (12 if found["half"].lower() == "pm" else 0)
    minute, second = int(found["m"]), int(found["s"] or 0)
    if hour > 23 or minute > 59 or second > 59:
        raise BadTime(row, f"“{text}” is no clock")
    return ((hour * 60 + minute) * 60 + second) * 1000 + int((found["part"] or "0").ljust(3, "0")[:3])


def unix(numbers: Values) -> Told:
    """Seconds, or milliseconds, since 1970 UTC."""
    usual = float(np.nanmedian(np.abs(numbers))) if len(numbers) else 0.0
    _refuse_gaps(numbers)
    if usual < MILLISECONDS_FROM:
        return Told(numbers)
    return Told(numbers / 1000.0, ("Times are milliseconds since 1970",))


def elapsed(numbers: Values, start: datetime, second: float) -> Told:
    """Time since `start`, in a unit of so many seconds."""
    _refuse_gaps(numbers)
    return Told(start.timestamp() + numbers * second)


def _refuse_gaps(numbers: Values) -> None:
    missing = np.flatnonzero(~np.isfinite(numbers))
    if len(missing):
        raise BadTime(int(missing[0]), "A line without its time")


def localised(naive_ms: Moments, zone: str) -> Told:
    """Times on the clock of a zone as seconds since 1970 UTC."""
    if not len(naive_ms):
        return Told(np.empty(0))
    steps = np.sign(np.diff(naive_ms))
    if steps.sum() < 0:
        back = localised(naive_ms[::-1], zone)
        return Told(back.seconds[::-1], ("The newest line stands first", *back.notes))
    first, second = _offsets(naive_ms, ZoneInfo(zone))
    missing = np.flatnonzero(first < second)
    if len(missing):
        at = _shown(naive_ms[missing[0]])
        raise BadTime(int(missing[0]), f"{at} did not happen in {zone}: the clock went forward. Is it UTC?")
    offsets, notes = first.copy(), []
    for begin, end in _stretches(first > second):
        again, note = _second_time(naive_ms, begin, end, int(first[begin] - second[begin]))
        offsets[again:end] = second[again:end]
        notes.append(note)
    return Told((naive_ms - offsets) / 1000.0, tuple(notes))


def _offsets(naive_ms: Moments, zone: ZoneInfo) -> tuple[Moments, Moments]:
    """Milliseconds ahead of UTC, of the first and of the second time that each clock reading comes."""
    slots, where = np.unique(naive_ms // SLOT_MS, return_inverse=True)
    pairs = []
    for slot in slots.tolist():
        here = datetime(1970, 1, 1) + timedelta(milliseconds=slot * SLOT_MS)  # noqa: DTZ001 - its zone is below
        pairs.append([_ahead_ms(here.replace(fold=fold, tzinfo=zone)) for fold in (0, 1)])
    found = np.array(pairs, np.int64)[where]
    return found[:, 0], found[:, 1]


def _ahead_ms(here: datetime) -> int:
    ahead = here.utcoffset()
    return round(ahead.total_seconds() * 1000) if ahead is not None else 0


def _stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Begin and end of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return list(pairwise(edges.tolist()))[::2]


def _second_time(naive_ms: Moments, begin: int, end: int, shift_ms: int) -> tuple[int, str]:
    """From which row on the repeated hour is there for the second time, told by the order of the lines."""
    at, rows = _shown(naive_ms[begin]), naive_ms[begin:end]
    back = np.flatnonzero(np.diff(rows) < -shift_ms / 2)
    if len(back):
        again = begin + int(back[0]) + 1
        said = f"{again - begin} lines are of the first time, {end - again} of the second"
        return again, f"The hour of {at} came twice; by their order {said}"
    before = rows[0] - naive_ms[begin - 1] if begin else None
    after = naive_ms[end] - rows[-1] if end < len(naive_ms) else None
    if before is None and after is None:
        return end, f"The hour of {at} came twice and nothing tells which it is; taken as the first"
    late = before is None or (after is not None and after < before)
    said = "second" if late else "first"
    return (begin if late else end), f"The hour of {at} came twice; by the lines beside it, it is the {said}"


def _shown(naive_ms: np.int64) -> str:
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=int(naive_ms))
    return f"{at:%Y-%m-%d %H:%M}"
