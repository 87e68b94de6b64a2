"""Geometry of the ladder: a logarithmic temperature axis, a rung a stage, each run drawn down it.

Lengths are in the drawing's own units. The template draws what stands here and computes nothing.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.physics import thermal
from server.physics.statistics import Band

WIDTH, HEIGHT = 690.0, 560.0
TOP, BOTTOM = 46.0, 500.0
LEFT, RIGHT = 52.0, 374.0
LABEL_GAP = 66.0
SHORT_GAP = 18.0
MOST_RUNS = 16
MOST_OTHERS = 5
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
    """A stage: its line, the band around it, and where its words stand.

    `short` names every stage whose rung lies here, for a narrow drawing; it is empty on all but one of them.
    """

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
    short: str = ""


@dataclass(frozen=True)
class Knot:
    """A lag; `style` is its class: good, in doubt, or none."""

    y: float
    style: str


@dataclass(frozen=True)
class Drop:
    """Heat on its way down from one rung to another. `number` points into the table.

    A run has a knot at each lag; what is `dashed` is no run but light, a touch or a support.
    """

    number: int
    key: str
    title: str
    odd: bool
    x: float
    top_y: float
    bottom_y: float
    width: float
    dashed: bool
    knots: tuple[Knot, ...]


@dataclass(frozen=True)
class Line:
    """An element to draw: its number and title in the table, and whether a warning names it."""

    number: int
    title: str
    odd: bool
    element: thermal.Element


@dataclass(frozen=True)
class Ladder:
    """The whole drawing; `left_out` counts what brings too little heat to be drawn."""

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
    rungs = _rungs(bands, stages, scale, words)
    at = {rung.stage: rung.y for rung in rungs if rung.y is not None}
    drawn, left_out = _chosen(budget, lines, at)
    return Ladder(
        ticks=tuple(Tick(scale.y(T_K), f"{T_K} K") for T_K in TICKS_K if scale.cold_K <= T_K <= scale.hot_K),
        rungs=rungs,
        drops=_drops(budget, drawn, at),
        left_out=left_out,
    )


def _rungs(
    bands: Mapping[str, Band | None], stages: Sequence[str], scale: Scale, words: Mapping[str, Words]
) -> tuple[Rung, ...]:
    middles = [_middle_K(bands[stage]) for stage in stages]
    heights = [None if middle is None else scale.y(middle) for middle in middles]
    shorts = _shorts(stages, heights)
    return tuple(
        _rung(stage, bands[stage], place, scale, words.get(stage, Words("")), shorts.get(stage, ""))
        for stage, place in zip(stages, _spread(heights), strict=True)
    )


def _shorts(stages: Sequence[str], heights: Sequence[float | None]) -> dict[str, str]:
    """Stage → the names of all whose rungs lie too close to this one to be told apart."""
    rows = sorted(
        (height, stage) for stage, height in zip(stages, heights, strict=True) if height is not None
    )
    found: dict[str, str] = {}
    first, first_y = "", -SHORT_GAP
    for height, stage in rows:
        if height - first_y < SHORT_GAP:
            found[first] += f", {stage}"
        else:
            first, first_y = stage, height
            found[stage] = stage
    return found


def _chosen(budget: thermal.Budget, lines: Sequence[Line], at: Mapping[str, float]) -> tuple[list[Line], int]:
    """What is drawn, in the order of the table: the runs, and the largest heats that come another way."""
    by_heat = sorted(lines, key=lambda line: -_heat_W(budget, line.element.key))
    able = [line for line in by_heat if set(_ends(budget, line.element)) <= at.keys()]
    runs = [line for line in able if isinstance(line.element, thermal.Run)]
    others = [line for line in able if not isinstance(line.element, thermal.Run)]
    drawn = runs[:MOST_RUNS] + others[:MOST_OTHERS]
    return sorted(drawn, key=lambda line: line.number), len(able) - len(drawn)


def _ends(budget: thermal.Budget, element: thermal.Element) -> tuple[str, str]:
    """The stage heat comes from, and the one where most of it lands."""
    if isinstance(element, thermal.Run):
        return "vessel", element.ends_on
    bands = budget.heats.get(element.key, {})
    return getattr(element, "hot_stage", "vessel"), max(
        bands, key=lambda stage: _size_W(bands[stage]), default=""
    )


def _scale(bands: Iterable[Band | None], vessel_K: float) -> Scale:
    known = [value for band in bands if band for value in (band.low, band.best) if value and value > 0]
    coldest = min(known, default=3.0)
    return Scale(max(min(coldest / 1.35, 2.4), 0.5), vessel_K * 1.08)


def _rung(stage: str, band: Band | None, label_y: float, scale: Scale, words: Words, short: str) -> Rung:
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
        short=short,
    )


def _middle_K(band: Band | None) -> float | None:
    if band is None:
        return None
    if band.best is not None:
        return band.best
    ends = [end for end in (band.low, band.high) if end]
    return math.prod(ends) ** (1 / len(ends)) if ends else None


def _spread(heights: Sequence[float | None]) -> list[float]:
    """Places for the words, warmest first: each at its rung where it can, pushed apart where rungs lie close.

    What has no height stands last.
    """
    order = sorted(range(len(heights)), key=lambda index: math.inf if (y := heights[index]) is None else y)
    places: list[float] = []
    last = TOP - LABEL_GAP
    for index in order:
        height = heights[index]
        last = max(last + LABEL_GAP, last + LABEL_GAP if height is None else height)
        places.append(last)
    ceiling = BOTTOM
    for rank in range(len(places) - 1, -1, -1):
        places[rank] = min(places[rank], ceiling)
        ceiling = places[rank] - LABEL_GAP
    return [round(place, 1) for _, place in sorted(zip(order, places, strict=True))]


def _heat_W(budget: thermal.Budget, key: str) -> float:
    return sum(abs(_size_W(band)) for band in budget.heats.get(key, {}).values())


def _size_W(band: Band) -> float:
    return band.best if band.best is not None else band.low or 0.0


def _drops(budget: thermal.Budget, drawn: Sequence[Line], at: Mapping[str, float]) -> tuple[Drop, ...]:
    step = (RIGHT - LEFT - 24) / max(len(drawn), 1)
    return tuple(
        _drop(budget, line, round(LEFT + 12 + (place + 0.5) * step, 1), at)
        for place, line in enumerate(drawn)
    )


def _drop(budget: thermal.Budget, line: Line, x: float, at: Mapping[str, float]) -> Drop:
    hot, cold = _ends(budget, line.element)
    lags = line.element.lags if isinstance(line.element, thermal.Run) else ()
    knots = tuple(_knot(lag, at[lag.stage]) for lag in lags if lag.stage in at)
    return Drop(
        number=line.number,
        key=line.element.key,
        title=line.title,
        odd=line.odd,
        x=x,
        top_y=at[hot],
        # A run that ends on a sample warmer than its last lag is drawn down to that lag first.
        bottom_y=max([at[cold], *(knot.y for knot in knots)]),
        width=_width(_heat_W(budget, line.element.key)),
        dashed=not isinstance(line.element, thermal.Run),
        knots=knots,
    )


def _knot(lag: thermal.Lag, y: float) -> Knot:
    return Knot(y, LAG_STYLES.get(lag.state or "", "lag-poor"))


def _width(heat_W: float) -> float:
    """Thin at 10 µW, wide at 10 W, in even steps per decade."""
    decades = math.log10(max(heat_W, 1e-5) / 1e-5)
    return round(min(THINNEST + decades * (WIDEST - THINNEST) / 6, WIDEST), 1)
