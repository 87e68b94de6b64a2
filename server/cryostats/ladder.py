"""Geometry of the ladder: a logarithmic temperature axis, a rung a stage, each run drawn down it.

Lengths are in the drawing's own units. The template draws what stands here and computes nothing.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.physics import thermal
from server.physics.statistics import Band

WIDTH, HEIGHT = 760.0, 520.0
TOP, BOTTOM = 46.0, 500.0
LEFT, RIGHT = 176.0, 560.0
LABEL_GAP = 34.0
MOST_RUNS = 16
THINNEST, WIDEST = 1.2, 13.0
TICKS_K = (1, 2, 3, 5, 10, 20, 30, 50, 100, 200, 300)


@dataclass(frozen=True)
class Tick:
    """A mark of the axis."""

    y: float
    text: str


@dataclass(frozen=True)
class Rung:
    """A stage: its line, the band around it, and where its words stand."""

    stage: str
    y: float | None
    low_y: float | None
    high_y: float | None
    open_above: bool
    label_y: float


@dataclass(frozen=True)
class Drop:
    """A run: down from one rung to another, with a knot at each lag. `number` points into the table."""

    number: int
    key: str
    x: float
    top_y: float
    bottom_y: float
    width: float
    knots: tuple[float, ...]


@dataclass(frozen=True)
class Ladder:
    """The whole drawing; `left_out` counts the runs too small to draw."""

    ticks: tuple[Tick, ...]
    rungs: tuple[Rung, ...]
    drops: tuple[Drop, ...]
    left_out: int
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = RIGHT


@dataclass(frozen=True)
class Scale:
    """Kelvin to height, logarithmic between `cold_K` and `hot_K`."""

    cold_K: float
    hot_K: float

    def y(self, temperature_K: float) -> float:
        """Height of a temperature, kept inside the drawing."""
        kept = min(max(temperature_K, self.cold_K), self.hot_K)
        share = math.log(self.hot_K / kept) / math.log(self.hot_K / self.cold_K)
        return round(TOP + share * (BOTTOM - TOP), 1)


def draw(
    budget: thermal.Budget,
    stages: Sequence[str],
    vessel_K: float,
    runs: Iterable[tuple[int, thermal.Run]],
) -> Ladder:
    """The ladder of a budget. `runs` come with their number in the table."""
    bands = {stage: budget.temperatures.get(stage) for stage in stages} | {"vessel": Band.exact(vessel_K)}
    scale = _scale(bands.values(), vessel_K)
    rungs = _rungs(bands, stages, scale)
    at = {rung.stage: rung.y for rung in rungs if rung.y is not None}
    wanted = sorted(runs, key=lambda row: -_heat_W(budget, row[1].key))
    shown = sorted(wanted[:MOST_RUNS], key=lambda row: row[0])
    return Ladder(
        ticks=tuple(Tick(scale.y(T_K), f"{T_K} K") for T_K in TICKS_K if scale.cold_K <= T_K <= scale.hot_K),
        rungs=rungs,
        drops=tuple(_drops(budget, shown, at, stages)),
        left_out=max(len(wanted) - MOST_RUNS, 0),
    )


def _scale(bands: Iterable[Band | None], vessel_K: float) -> Scale:
    known = [value for band in bands if band for value in (band.low, band.best) if value and value > 0]
    coldest = min(known, default=3.0)
    return Scale(max(min(coldest / 1.35, 2.4), 0.5), vessel_K * 1.08)


def _rungs(bands: Mapping[str, Band | None], stages: Sequence[str], scale: Scale) -> tuple[Rung, ...]:
    heights = [_middle(bands[stage], scale) for stage in stages]
    places = _spread(heights)
    return tuple(
        _rung(stage, bands[stage], place, scale) for stage, place in zip(stages, places, strict=True)
    )


def _rung(stage: str, band: Band | None, label_y: float, scale: Scale) -> Rung:
    if band is None:
        return Rung(stage, None, None, None, False, label_y)
    low_y = None if band.low is None else scale.y(band.low)
    high_y = scale.y(scale.hot_K) if band.high is None else scale.y(band.high)
    return Rung(stage, _middle(band, scale), low_y, high_y, band.high is None, label_y)


def _middle(band: Band | None, scale: Scale) -> float | None:
    if band is None:
        return None
    if band.best is not None:
        return scale.y(band.best)
    ends = [end for end in (band.low, band.high) if end]
    return scale.y(math.prod(ends) ** (1 / len(ends))) if ends else None


def _spread(heights: Sequence[float | None]) -> list[float]:
    """Places for the words: each at its rung where it can, pushed apart where rungs lie close."""
    places: list[float] = []
    last = TOP - LABEL_GAP
    for height in heights:
        last = max(height if height is not None else last + LABEL_GAP, last + LABEL_GAP)
        places.append(last)
    over = places[-1] - BOTTOM
    for index in range(len(places) - 1, -1, -1):
        if over <= 0:
            break
        ceiling = places[index] - over
        places[index] = ceiling
        over = 0 if index == 0 else max(places[index - 1] + LABEL_GAP - ceiling, 0)
    return [round(place, 1) for place in places]


def _heat_W(budget: thermal.Budget, key: str) -> float:
    bands = budget.heats.get(key, {})
    return sum(abs(band.best if band.best is not None else band.low or 0.0) for band in bands.values())


def _drops(
    budget: thermal.Budget,
    shown: Sequence[tuple[int, thermal.Run]],
    at: Mapping[str, float],
    stages: Sequence[str],
) -> Iterable[Drop]:
    step = (RIGHT - LEFT - 24) / max(len(shown), 1)
    for place, (number, run) in enumerate(shown):
        if run.ends_on not in at:
            continue
        lags = [
            lag.stage
            for lag in run.lags
            if lag.stage in at and stages.index(lag.stage) <= stages.index(run.ends_on)
        ]
        yield Drop(
            number=number,
            key=run.key,
            x=round(LEFT + 16 + (place + 0.5) * step, 1),
            top_y=at[stages[0]],
            bottom_y=at[run.ends_on],
            width=_width(_heat_W(budget, run.key)),
            knots=tuple(at[stage] for stage in lags),
        )


def _width(heat_W: float) -> float:
    """Thin at 10 µW, wide at 10 W, in even steps per decade."""
    decades = math.log10(max(heat_W, 1e-5) / 1e-5)
    return round(min(THINNEST + decades * (WIDEST - THINNEST) / 6, WIDEST), 1)
