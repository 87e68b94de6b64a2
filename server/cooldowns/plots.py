"""A plot over time as a drawing: what the template puts into SVG, computed here and nowhere else. Pure.

One panel for each unit, one above the other over a common time axis. A curve is drawn from the lowest and the
highest reading of each stretch, so that no spike is lost; where readings are missing the curve is broken.
Lengths are in the drawing's own units. Callers hand in what else they know: phases, a predicted band, marks.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from server.cooldowns.blocks import Values
from server.cooldowns.plots_axes import Scale, Tick, scale, times

WIDTH, LEFT, RIGHT = 1000.0, 74.0, 850.0
TOP, TALL, GAP, FOOT = 30.0, 300.0, 34.0, 34.0
APART = 15.0
"""How far apart two labels beside the curves stand at least."""
COLOURS = 8


@dataclass(frozen=True)
class Curve:
    """What is drawn of one channel: times (seconds since 1970 UTC), lowest and highest values in `unit`.

    `key` chooses its colour: a stage for a temperature, nothing for the next one that is free.
    """

    label: str
    unit: str
    times_s: Values
    low: Values
    high: Values
    gap_s: float
    decades: bool = False
    key: str = ""


@dataclass(frozen=True)
class Phase:
    """A stretch of time with a name, drawn behind the curves."""

    label: str
    begin_s: float
    end_s: float


@dataclass(frozen=True)
class Predicted:
    """What was expected before: from `low` to `high` (in `unit`) at these times; two are a stripe."""

    label: str
    unit: str
    times_s: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    key: str = ""


@dataclass(frozen=True)
class Mark:
    """A moment worth naming; with value and unit it is a point in that panel, else a line through all."""

    label: str
    at_s: float
    value: float | None = None
    unit: str = ""


_Height = Callable[[float], float]


class Words(NamedTuple):
    """A few words in the drawing."""

    x: float
    y: float
    text: str


class Box(NamedTuple):
    """A rectangle with its name."""

    x: float
    y: float
    width: float
    height: float
    label: str


class Drawn(NamedTuple):
    """A curve or band as a path, with its label where it fits; `look` chooses colour and dashes."""

    path: str
    look: str
    label: Words


@dataclass(frozen=True)
class Panel:
    """One unit over the common time axis."""

    unit: str
    top: float
    bottom: float
    decades: bool
    ticks: tuple[Words, ...]
    curves: tuple[Drawn, ...]
    bands: tuple[Drawn, ...]
    points: tuple[Words, ...]


@dataclass(frozen=True)
class Drawing:
    """The whole plot."""

    panels: tuple[Panel, ...]
    times: tuple[Words, ...]
    phases: tuple[Box, ...]
    marks: tuple[Words, ...]
    begin_s: float
    end_s: float
    height: float
    width: float = WIDTH
    left: float = LEFT
    right: float = RIGHT
    top: float = TOP
    unseen: tuple[str, ...] = field(default=())
    """Names of the curves that have no reading in this stretch."""


def draw(
    curves: Sequence[Curve],
    begin_s: float,
    end_s: float,
    zone: str,
    *,
    axis: str = "",
    phases: Iterable[Phase] = (),
    predicted: Sequence[Predicted] = (),
    marks: Sequence[Mark] = (),
) -> Drawing:
    """The drawing of these curves between two moments.

    `axis` is `linear` or `log` for every panel; nothing: by decades where a quantity spans them.
    """
    view = _View(begin_s, max(end_s, begin_s + 1.0), zone, axis)
    seen = [curve for curve in curves if len(curve.times_s)]
    looks = _looks(curves)
    units = list(dict.fromkeys(curve.unit for curve in seen))
    panels = tuple(
        _panel(view, unit, TOP + number * (TALL + GAP), seen, looks, predicted, marks)
        for number, unit in enumerate(units)
    )
    foot = TOP + len(units) * (TALL + GAP) - GAP if units else TOP
    return Drawing(
        panels=panels,
        times=tuple(Words(view.x(tick.value), foot, tick.label) for tick in view.ticks),
        phases=tuple(view.box(phase, foot) for phase in phases if view.touches(phase)),
        marks=tuple(
            Words(view.x(mark.at_s), TOP, mark.label)
            for mark in marks
            if mark.value is None and view.holds(mark.at_s)
        ),
        begin_s=view.begin_s,
        end_s=view.end_s,
        height=foot + FOOT,
        unseen=tuple(curve.label for curve in curves if not len(curve.times_s)),
    )


@dataclass(frozen=True)
class _View:
    begin_s: float
    end_s: float
    zone: str
    axis: str

    @property
    def ticks(self) -> list[Tick]:
        return times(self.begin_s, self.end_s, self.zone)

    def x(self, at_s: float) -> float:
        share = (at_s - self.begin_s) / (self.end_s - self.begin_s)
        return round(LEFT + min(max(share, 0.0), 1.0) * (RIGHT - LEFT), 1)

    def holds(self, at_s: float) -> bool:
        return self.begin_s <= at_s <= self.end_s

    def touches(self, phase: Phase) -> bool:
        return phase.begin_s < self.end_s and phase.end_s > self.begin_s

    def box(self, phase: Phase, foot: float) -> Box:
        x = self.x(phase.begin_s)
        return Box(x, TOP, round(self.x(phase.end_s) - x, 1), foot - TOP, phase.label)


def _looks(curves: Sequence[Curve]) -> dict[str, str]:
    """Label → look: by its key, and numbered where it has none or another has it already."""
    found: dict[str, str] = {}
    for number, curve in enumerate(curves):
        free = curve.key and curve.key not in found.values()
        found[curve.label] = curve.key if free else f"line-{number % COLOURS}"
    return found


def _panel(
    view: _View,
    unit: str,
    top: float,
    curves: Sequence[Curve],
    looks: dict[str, str],
    predicted: Sequence[Predicted],
    marks: Sequence[Mark],
) -> Panel:
    own = [curve for curve in curves if curve.unit == unit]
    bands = [band for band in predicted if band.unit == unit]
    points = [m for m in marks if m.value is not None and m.unit == unit and view.holds(m.at_s)]
    axis = _scale(view, own, bands)
    bottom = top + TALL

    def y(value: float) -> float:
        return round(bottom - min(max(axis.share(value), 0.0), 1.0) * TALL, 1)

    drawn = [Drawn(_path(view, axis, bottom, c), looks[c.label], _beside(y, c)) for c in own]
    return Panel(
        unit=unit,
        top=top,
        bottom=bottom,
        decades=axis.decades,
        ticks=tuple(Words(LEFT, y(tick.value), tick.label) for tick in axis.ticks()),
        curves=_spread(drawn, top, bottom),
        bands=tuple(_band(view, y, band) for band in bands),
        points=tuple(Words(view.x(mark.at_s), y(mark.value or 0.0), mark.label) for mark in points),
    )


def _scale(view: _View, curves: Sequence[Curve], bands: Sequence[Predicted]) -> Scale:
    low = min([*(float(c.low.min()) for c in curves), *(min(b.low) for b in bands if len(b.low))])
    high = max([*(float(c.high.max()) for c in curves), *(max(b.high) for b in bands if len(b.high))])
    spans = any(curve.decades for curve in curves) and high > 5 * low
    return scale(low, high, view.axis == "log" or (view.axis != "linear" and spans))


def _path(view: _View, axis: Scale, bottom: float, curve: Curve) -> str:
    share = (curve.times_s - view.begin_s) / (view.end_s - view.begin_s)
    x = np.round(LEFT + np.clip(share, 0.0, 1.0) * (RIGHT - LEFT), 1)
    low, high = (_heights(axis, bottom, values) for values in (curve.low, curve.high))
    starts = {0, *(np.flatnonzero(np.diff(curve.times_s) > curve.gap_s) + 1).tolist()}
    parts = []
    rows = zip(x.tolist(), low.tolist(), high.tolist(), strict=True)
    for number, (at, below, above) in enumerate(rows):
        first, second = (below, above) if number % 2 else (above, below)
        parts.append(f"{'M' if number in starts else 'L'}{at:g} {first:g}")
        # A reading alone, with gaps on both sides, is still a dot.
        if second != first or (number in starts and (number + 1 in starts or number + 1 == len(x))):
            parts.append(f"L{at:g} {second:g}")
    return "".join(parts)


def _heights(axis: Scale, bottom: float, values: Values) -> Values:
    if not axis.decades:
        share = (values - axis.low) / (axis.high - axis.low)
    else:
        least = math.log10(axis.low)
        logs = np.log10(np.maximum(values, axis.low * 1e-6))
        share = (logs - least) / (math.log10(axis.high) - least)
    heights: Values = np.round(bottom - np.clip(share, 0.0, 1.0) * TALL, 1)
    return heights


def _beside(y: _Height, curve: Curve) -> Words:
    return Words(RIGHT + 8, y((float(curve.low[-1]) + float(curve.high[-1])) / 2) + 4, curve.label)


def _spread(drawn: Sequence[Drawn], top: float, bottom: float) -> tuple[Drawn, ...]:
    """The labels moved apart, in the order of their curves, without leaving the panel where they fit."""
    order = sorted(range(len(drawn)), key=lambda n: drawn[n].label.y)
    heights = [drawn[n].label.y for n in order]
    for n in range(1, len(heights)):
        heights[n] = max(heights[n], heights[n - 1] + APART)
    over = max(0.0, heights[-1] - bottom) if heights else 0.0
    for n in range(len(heights) - 1, -1, -1):
        below = heights[n + 1] - APART if n + 1 < len(heights) else math.inf
        heights[n] = max(min(heights[n] - (over if n == len(heights) - 1 else 0.0), below), top)
    placed = dict(zip(order, heights, strict=True))
    return tuple(row._replace(label=row.label._replace(y=round(placed[n], 1))) for n, row in enumerate(drawn))


def _band(view: _View, y: _Height, band: Predicted) -> Drawn:
    rows = zip(band.times_s, band.low, band.high, strict=True)
    there = [(view.x(at), y(low), y(high)) for at, low, high in rows]
    edge = [f"{x:g} {high:g}" for x, _, high in there] + [f"{x:g} {low:g}" for x, low, _ in reversed(there)]
    path = f"M{'L'.join(edge)}Z" if there else ""
    x, _, top = there[0] if there else (LEFT, 0.0, 0.0)
    return Drawn(path, band.key or "band", Words(x + 6, top - 5, band.label))
