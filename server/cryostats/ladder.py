"""Geometry of the ladder: a logarithmic temperature axis, a rung a stage, each run drawn down it.

Lengths are in the drawing's own units. The template draws what stands here and computes nothing.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.physics import thermal
from server.physics.statistics import Band

WIDTH, HEIGHT = 760.0, 540.0
TOP, BOTTOM = 46.0, 500.0
LEFT, RIGHT = 56.0, 450.0
LABEL_GAP = 50.0
MOST_RUNS = 16
THINNEST, WIDEST = 1.2, 13.0
LAG_STYLES = {"good": "lag-good", "none": "lag-none", "removed": "lag-none"}
TICKS_K = (1, 2, 3, 5, 10, 20, 30, 50, 100, 200, 300)


@dataclass(frozen=True)
class Tick:
    """A mark of the axis."""

    y: float
    text: str


@dataclass(frozen=True)
class Words:
    """What stands on a rung: the temperature, and what is used and left there."""

    temperature: str
    room: tuple[str, ...] = ()
    status: str = "no limit"


@dataclass(frozen=True)
class Rung:
    """A stage: its line, the band around it, and where its words stand."""

    stage: str
    middle_K: float | None
    y: float | None
    low_y: float | None
    high_y: float | None
    open_above: bool
    label_y: float
    temperature: str
    room: tuple[str, ...]
    status: str


@dataclass(frozen=True)
class Knot:
    """A lag; `style` is its class: good, in doubt, or none."""

    y: float
    style: str


@dataclass(frozen=True)
class Drop:
    """A run: down from one rung to another, with a knot at each lag. `number` points into the table."""

    number: int
    key: str
    title: str
    odd: bool
    x: float
    top_y: float
    bottom_y: float
    width: float
    knots: tuple[Knot, ...]


@dataclass(frozen=True)
class Line:
    """A run to draw: its number and title in the table, and whether a warning names it."""

    number: int
    title: str
    odd: bool
    run: thermal.Run


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
    words: Mapping[str, Words],
    lines: Sequence[Line],
) -> Ladder:
    """The ladder of a budget, with the `words` that stand on each rung."""
    bands = {stage: budget.temperatures.get(stage) for stage in stages} | {"vessel": Band.exact(vessel_K)}
    scale = _scale(bands.values(), vessel_K)
    middles = [_middle_K(bands[stage]) for stage in stages]
    places = _spread([None if middle is None else scale.y(middle) for middle in middles])
    rungs = tuple(
        _rung(stage, bands[stage], place, scale, words.get(stage, Words("")))
        for stage, place in zip(stages, places, strict=True)
    )
    wanted = sorted(lines, key=lambda line: -_heat_W(budget, line.run.key))
    return Ladder(
        ticks=tuple(Tick(scale.y(T_K), f"{T_K} K") for T_K in TICKS_K if scale.cold_K <= T_K <= scale.hot_K),
        rungs=rungs,
        drops=_drops(budget, sorted(wanted[:MOST_RUNS], key=lambda line: line.number), rungs),
        left_out=max(len(wanted) - MOST_RUNS, 0),
    )


def _scale(bands: Iterable[Band | None], vessel_K: float) -> Scale:
    known = [value for band in bands if band for value in (band.low, band.best) if value and value > 0]
    coldest = min(known, default=3.0)
    return Scale(max(min(coldest / 1.35, 2.4), 0.5), vessel_K * 1.08)


def _rung(stage: str, band: Band | None, label_y: float, scale: Scale, words: Words) -> Rung:
    middle_K = _middle_K(band)
    low_K, high_K = (band.low, band.high) if band else (None, None)
    return Rung(
        stage=stage,
        middle_K=middle_K,
        y=None if middle_K is None else scale.y(middle_K),
        low_y=None if low_K is None else scale.y(low_K),
        high_y=scale.y(high_K) if high_K is not None else None if middle_K is None else scale.y(middle_K),
        open_above=band is not None and high_K is None,
        label_y=label_y,
        temperature=words.temperature,
        room=words.room,
        status=words.status,
    )


def _middle_K(band: Band | None) -> float | None:
    if band is None:
        return None
    if band.best is not None:
        return band.best
    ends = [end for end in (band.low, band.high) if end]
    return math.prod(ends) ** (1 / len(ends)) if ends else None


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


def _drops(budget: thermal.Budget, lines: Sequence[Line], rungs: Sequence[Rung]) -> tuple[Drop, ...]:
    at = {rung.stage: rung.y for rung in rungs if rung.y is not None}
    drawn = [line for line in lines if line.run.ends_on in at]
    step = (RIGHT - LEFT - 24) / max(len(drawn), 1)
    return tuple(
        Drop(
            number=line.number,
            key=line.run.key,
            title=line.title,
            odd=line.odd,
            x=round(LEFT + 12 + (place + 0.5) * step, 1),
            top_y=rungs[0].y or TOP,
            bottom_y=at[line.run.ends_on],
            width=_width(_heat_W(budget, line.run.key)),
            knots=tuple(_knot(lag, at[lag.stage]) for lag in line.run.lags if lag.stage in at),
        )
        for place, line in enumerate(drawn)
    )


def _knot(lag: thermal.Lag, y: float) -> Knot:
    return Knot(y, LAG_STYLES.get(lag.state or "", "lag-poor"))


def _width(heat_W: float) -> float:
    """Thin at 10 µW, wide at 10 W, in even steps per decade."""
    decades = math.log10(max(heat_W, 1e-5) / 1e-5)
    return round(min(THINNEST + decades * (WIDEST - THINNEST) / 6, WIDEST), 1)
