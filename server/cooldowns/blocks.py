"""The block format: the readings of one hour, times to the millisecond and values as they were, in few bytes.

A block is its version, how values are coded, the count, and one zlib stream of times and values. Times are
milliseconds into the hour, as differences. Values that are decimals of up to fifteen places are whole numbers
of the last place, as differences, in the smallest type that holds them; other values are the differences of
their 64 bits. Each is laid out byte by byte of equal weight, which is what makes it small. Nothing is lost.
"""

import struct
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

HOUR_MS = 3_600_000
VERSION, RAW = 1, 255
HEAD = struct.Struct("<BBBI")
MOST_PLACES = 15
EXACT = 2.0**53
"""Beyond it a float no longer holds every whole number."""
LEVEL = 4
SAME = 1e-12
"""Two values that differ by less than this share of themselves are one reading, converted twice."""
Moments = NDArray[np.int64]
Values = NDArray[np.float64]


class Spoilt(ValueError):
    """A block that is not what was packed."""


@dataclass(frozen=True)
class Merged:
    """Readings of an hour after others were laid over them; the masks are over what was laid."""

    times_ms: Moments
    values: Values
    fresh: int
    differing: Moments
    """The moments at which another value stood."""
    before: Values
    """What stood there."""


def pack(times_ms: Moments, values: Values) -> bytes:
    """The block of readings of one hour, times rising and each once, values finite."""
    if len(times_ms) == 0 or len(times_ms) != len(values):
        raise ValueError("a block holds as many times as values, and at least one")
    hour_ms = int(times_ms[0]) // HOUR_MS * HOUR_MS
    if int(times_ms[-1]) - hour_ms >= HOUR_MS or (np.diff(times_ms) <= 0).any():
        raise ValueError("the times of a block rise within one hour")
    places, whole = _as_whole(values)
    steps = np.diff(whole, prepend=np.int64(0))
    width = _width(steps)
    times = np.diff(times_ms - hour_ms, prepend=np.int64(0)).astype("<u4")
    body = _laid_out(times) + _laid_out(steps.astype(f"<i{width}"))
    return HEAD.pack(VERSION, places, width, len(values)) + zlib.compress(body, LEVEL)


def unpack(content: bytes, hour: int) -> tuple[Moments, Values]:
    """Times (milliseconds since 1970) and values of a block; Spoilt where it was altered."""
    try:
        version, places, width, count = HEAD.unpack_from(content)
        body = zlib.decompress(content[HEAD.size :])
    except (struct.error, zlib.error) as problem:
        raise Spoilt("a block of readings cannot be unpacked") from problem
    if version != VERSION or width not in (1, 2, 4, 8) or len(body) != count * (4 + width):
        raise Spoilt("a block of readings is not of this format")
    times = _gathered(body[: 4 * count], "<u4").astype(np.int64).cumsum() + hour * HOUR_MS
    whole = _gathered(body[4 * count :], f"<i{width}").astype(np.int64).cumsum()
    values = whole.view(np.float64) if places == RAW else whole / 10.0**places
    return times, values


def _as_whole(values: Values) -> tuple[int, Moments]:
    """How many places the values have and the whole numbers they then are; RAW and their bits where none."""
    few = values[:: max(1, len(values) // 16)]
    for places in range(MOST_PLACES + 1):
        if _exact(few, places) is not None:
            whole = _exact(values, places)
            if whole is not None:
                return places, whole
    return RAW, np.ascontiguousarray(values, np.float64).view(np.int64)


def _exact(values: Values, places: int) -> Moments | None:
    """The whole numbers that divided by a power of ten are these values to the last bit, or None."""
    power = 10.0**places
    with np.errstate(over="ignore"):
        whole = np.rint(values * power)
    if not (np.abs(whole) < EXACT).all() or not (whole / power == values).all():
        return None
    return whole.astype(np.int64)


def _width(steps: Moments) -> int:
    largest = max(int(steps.max()), -1 - int(steps.min()))
    return next(width for width in (1, 2, 4, 8) if largest < 1 << (8 * width - 1))


def _laid_out(numbers: NDArray[np.generic]) -> bytes:
    return np.ascontiguousarray(numbers.view(np.uint8).reshape(len(numbers), -1).T).tobytes()


def _gathered(content: bytes, kind: str) -> NDArray[np.generic]:
    width = np.dtype(kind).itemsize
    return np.ascontiguousarray(np.frombuffer(content, np.uint8).reshape(width, -1).T).view(kind).ravel()


def same(one: Values, other: Values) -> NDArray[np.bool_]:
    """Where two readings of one moment are one reading."""
    return np.abs(one - other) <= SAME * np.maximum(np.abs(one), np.abs(other))


def merged(old: tuple[Moments, Values] | None, times_ms: Moments, values: Values) -> Merged:
    """Readings laid over those that stand: new moments are added, at a known moment the new value stands."""
    if old is None:
        nothing = np.empty(0)
        return Merged(times_ms, values, len(times_ms), np.empty(0, np.int64), nothing)
    there = np.isin(times_ms, old[0], assume_unique=True)
    places = np.searchsorted(old[0], times_ms[there])
    other = ~same(old[1][places], values[there])
    standing = old[1].copy()
    standing[places[other]] = values[there][other]
    times = np.concatenate((old[0], times_ms[~there]))
    order = np.argsort(times, kind="stable")
    return Merged(
        times_ms=times[order],
        values=np.concatenate((standing, values[~there]))[order],
        fresh=int((~there).sum()),
        differing=times_ms[there][other],
        before=old[1][places[other]],
    )
