"""A plot by decades on both axes as a drawing: spectra, one-third octaves, criteria. Pure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.cooldowns.plots_axes import Scale, scale

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 1000.0, 430.0, 74.0, 850.0, 30.0, 380.0
POINTS = 700
Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Line:
    """One curve: frequencies and values, both above zero; `look` chooses its colour and dashes."""

    label: str
    frequency_Hz: Array
    values: Array
    look: str


class Path(NamedTuple):
    """A curve as a path, with its label at its end."""

    path: str
    look: str
    label: str
    x: float
    y: float


class Tick(NamedTuple):
    """A tick of an axis."""

    at: float
    label: str


@dataclass(frozen=True)
class LogLog:
    """The whole drawing."""

    unit: str
    paths: tuple[Path, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = RIGHT
    top: float = TOP
    bottom: float = BOTTOM


def draw(lines: Sequence[Line], unit: str) -> LogLog | None:
    """The drawing of these lines; None where nothing is above zero."""
    kept = [thinned for line in lines if (thinned := _thinned(line)) is not None]
    if not kept:
        return None
    across = scale(
        min(float(one.frequency_Hz.min()) for one in kept),
        max(float(one.frequency_Hz.max()) for one in kept),
        True,
    )
    up = scale(
        min(float(one.values.min()) for one in kept), max(float(one.values.max()) for one in kept), True
    )
    return LogLog(
        unit,
        tuple(_path(one, across, up) for one in kept),
        tuple(Tick(_x(across, tick.value), tick.label) for tick in across.ticks()),
        tuple(Tick(_y(up, tick.value), tick.label) for tick in up.ticks()),
    )


def _thinned(line: Line) -> Line | None:
    """What is above zero, the largest of each of so many equal ratios of frequency: no line is lost."""
    seen = (line.frequency_Hz > 0) & (line.values > 0)
    frequency, values = line.frequency_Hz[seen], line.values[seen]
    if not len(frequency):
        return None
    if len(frequency) > POINTS:
        span = math.log(frequency[-1] / frequency[0])
        box = (np.log(frequency / frequency[0]) / span * (POINTS - 1)).astype(int)
        starts = np.flatnonzero(np.diff(box, prepend=-1))
        ends = [*starts[1:].tolist(), len(box)]
        best = [int(begin + values[begin:end].argmax()) for begin, end in zip(starts, ends, strict=True)]
        frequency, values = frequency[best], values[best]
    return Line(line.label, frequency, values, line.look)


def _path(line: Line, across: Scale, up: Scale) -> Path:
    points = [
        (_x(across, f), _y(up, v))
        for f, v in zip(line.frequency_Hz.tolist(), line.values.tolist(), strict=True)
    ]
    path = "M" + "L".join(f"{x:g} {y:g}" for x, y in points)
    return Path(path, line.look, line.label, points[-1][0] + 8, points[-1][1] + 4)


def _x(across: Scale, frequency_Hz: float) -> float:
    return round(LEFT + across.share(frequency_Hz) * (RIGHT - LEFT), 1)


def _y(up: Scale, value: float) -> float:
    return round(BOTTOM - up.share(value) * (BOTTOM - TOP), 1)
