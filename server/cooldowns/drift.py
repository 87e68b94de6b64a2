"""How a cryostat drifts over its cooldowns: charts of each witness, and slope, steps and event told apart.

A new stretch begins where the trend breaks. Charts are of what the configuration does not explain; the parts
are told from the readings themselves, with each declared change as a step of the size that was predicted.
An event is looked for where the slips say that the cryostat was opened; a slope explains what goes on
between. Where no slip was written over a whole stretch nobody knows, and it may lie before any cooldown.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
from sqlmodel import Session, col, select

from server.cooldowns import residual, trends
from server.cooldowns.diagnosis_rules import SIGMAS
from server.cooldowns.finding import Sheet, sheets
from server.cooldowns.models import Cooldown, TrendBreak
from server.cooldowns.residual_rules import NOT_COMPARABLE
from server.cooldowns.witnesses import figures
from server.cryostats.models import Cryostat
from server.openings import finding as slips
from server.physics.statistics import (
    Band,
    CumulativeSums,
    MovingAverage,
    Separated,
    Witness,
    cumulative_sums,
    moving_average,
    separate,
)

DAY_S = 86400.0
MOST = 60
"""Cooldowns looked at."""
MOST_SLIPS = 10 * MOST
FIRST = 3
"""So many after a break say what it ought to be (our own choice, no source)."""
FEWEST = 3
STEP_SHARE, STEP_LEAST_K = 0.5, 0.005
"""A declared step is known to this share of itself, and not better than this (common practice, no source)."""
STAGES = {
    "platform": ("Platform above prediction", "K", 0.3),
    "shield": ("Shield above prediction", "K", 3.0),
}
RATIOS = {
    "cooldown": ("Time to 10 K", "h", 0.1),
    "helium": ("Static helium", "bar", 0.05),
    "pump": ("Pumped to 0.01 mbar", "h", 0.7),
}
"""Witness → its label, the unit people read, and the size a fault may well have, in K or as a logarithm."""
WITNESSES = STAGES | RATIOS
SPREAD = SIGMAS | {"pump": 0.2}


@dataclass(frozen=True)
class Point:
    """One cooldown: residuals in kelvin, other witnesses in SI, readings and predictions at base."""

    sheet: Sheet
    values: dict[str, float]
    read_K: dict[str, float]
    expected_K: dict[str, float]
    why_not: str


@dataclass(frozen=True)
class Chart:
    """One witness over one stretch: places of its points, values, what they ought to be, and both charts.

    A ratio stands as its natural logarithm against `target`, a residual in kelvin.
    """

    name: str
    places: tuple[int, ...]
    values: tuple[float, ...]
    target: float
    average: MovingAverage
    sums: CumulativeSums


@dataclass(frozen=True)
class Stretch:
    """The cooldowns between two breaks, oldest first; `parted` is None where there are too few.

    `steps` are the places before which a change was declared, `open_places` those before which an event may
    lie; `by_slips` when these are known from slips of openings.
    """

    points: tuple[Point, ...]
    charts: tuple[Chart, ...]
    names: tuple[str, ...]
    steps: tuple[int, ...]
    open_places: tuple[int, ...]
    by_slips: bool
    parted: Separated | None
    begun_by: TrendBreak | None


def of(session: Session, cryostat: Cryostat) -> tuple[Stretch, ...]:
    """The stretches of a cryostat, oldest first."""
    assert cryostat.id is not None
    query = select(Cooldown).where(Cooldown.cryostat_id == cryostat.id, col(Cooldown.started_at).is_not(None))
    rows = session.exec(query.order_by(col(Cooldown.number).desc()).limit(MOST)).all()
    points = [_point(session, sheet) for sheet in reversed(sheets(session, cryostat, rows))]
    breaks = trends.breaks(session, cryostat.id)
    rows_open = slips.openings_of(session, cryostat, MOST_SLIPS)
    opened = sorted(row.opened_at for row in rows_open if row.opened_at is not None)
    found: dict[int, list[Point]] = {}
    for point in points:
        stretch = sum(row.at <= point.sheet.cooldown.begun_at for row in breaks)
        found.setdefault(stretch, []).append(point)
    return tuple(
        _stretch(many, opened, breaks[number - 1] if number else None) for number, many in found.items()
    )


def _point(session: Session, sheet: Sheet) -> Point:
    rows = residual.of(session, sheet)
    fit = [row for row in rows if row.verdict != NOT_COMPARABLE and row.predicted_K is not None]
    values = {row.stage: row.difference_K.middle for row in fit if row.difference_K and row.stage in STAGES}
    told, all_figures = figures(sheet), trends.figures(sheet)
    values |= {name: told[name] for name in ("cooldown", "helium") if name in told}
    if all_figures.get("to 1 Pa"):
        values["pump"] = all_figures["to 1 Pa"]
    read_K = {row.stage: row.measured_K for row in fit if row.measured_K is not None}
    expected_K = {row.stage: row.predicted_K.middle for row in fit if row.predicted_K}
    why_not = next((row.reason for row in rows if row.verdict == NOT_COMPARABLE), "")
    return Point(sheet, values, read_K, expected_K, why_not)


def _stretch(points: Sequence[Point], opened: Sequence[datetime], begun_by: TrendBreak | None) -> Stretch:
    charts = [_chart(points, name) for name in WITNESSES]
    used = [place for place, point in enumerate(points) if point.read_K]
    kept = [points[place] for place in used]
    revisions = [point.sheet.expectation.revision for point in kept]
    steps = tuple(n for n in range(1, len(kept)) if revisions[n] != revisions[n - 1])
    between = bool(_opened_before(points, opened))
    open_here = _opened_before(kept, opened) if between else range(1, len(kept))
    free = tuple(n for n in open_here if n not in steps)
    names, parted = _parted(kept, steps, free)
    back = tuple(used[n] for n in steps), tuple(used[n] for n in free)
    return Stretch(
        tuple(points),
        tuple(one for one in charts if one is not None),
        names,
        back[0],
        back[1],
        between,
        _at(parted, used) if parted else None,
        begun_by,
    )


def _opened_before(points: Sequence[Point], opened: Sequence[datetime]) -> tuple[int, ...]:
    """The places of those that were opened since the one before them."""
    begun = [point.sheet.cooldown.begun_at for point in points]
    return tuple(n for n in range(1, len(begun)) if any(begun[n - 1] < at <= begun[n] for at in opened))


def _at(parted: Separated, used: Sequence[int]) -> Separated:
    """With the places of events counted over all points."""
    events = {used[place]: chance for place, chance in parted.event_probability.items()}
    return Separated(parted.witnesses, parted.slope_probability, events)


def _chart(points: Sequence[Point], name: str) -> Chart | None:
    """The control charts of a witness against its first values; None without any."""
    places = tuple(place for place, point in enumerate(points) if name in point.values)
    if not places:
        return None
    raw = np.array([points[place].values[name] for place in places])
    target = float(np.median(raw[:FIRST]))
    values = raw if name in STAGES else np.log(raw / target)
    ought = target if name in STAGES else 0.0
    average = moving_average(values, ought, SPREAD[name])
    sums = cumulative_sums(values, ought, SPREAD[name])
    return Chart(name, places, tuple(values.tolist()), target, average, sums)


def _parted(
    kept: Sequence[Point], steps: tuple[int, ...], free: tuple[int, ...]
) -> tuple[tuple[str, ...], Separated | None]:
    """Slope, steps and event over the witnesses that were read at least so often."""
    names = tuple(name for name in WITNESSES if sum(_has(point, name) for point in kept) >= FEWEST)
    days = [point.sheet.cooldown.begun_at.timestamp() / DAY_S for point in kept]
    rising = all(later > early for early, later in pairwise(days))
    if len(kept) < FEWEST or not names or not rising:
        return (), None
    made = [_witness(kept, name, steps) for name in names]
    return names, separate([day - days[0] for day in days], made, steps, free)


def _has(point: Point, name: str) -> bool:
    return name in (point.read_K if name in STAGES else point.values)


def _witness(kept: Sequence[Point], name: str, steps: Sequence[int]) -> Witness:
    scale = WITNESSES[name][2]
    if name in STAGES:
        values = tuple(point.read_K.get(name, math.nan) for point in kept)
        predicted = tuple(_step(kept, name, place) for place in steps)
        return Witness(values, SPREAD[name], scale, predicted)
    known = [point.values[name] for point in kept if name in point.values]
    read: Callable[[Point], float] = lambda point: point.values.get(name, math.nan)  # noqa: E731
    ratios = tuple(math.log(read(point) / known[0]) for point in kept)
    return Witness(ratios, SPREAD[name], scale, (None,) * len(steps))


def _step(kept: Sequence[Point], name: str, place: int) -> Band | None:
    """What the change before this cooldown was predicted to bring."""
    before, after = kept[place - 1].expected_K.get(name), kept[place].expected_K.get(name)
    if before is None or after is None:
        return None
    step_K = after - before
    half_K = max(STEP_SHARE * abs(step_K), STEP_LEAST_K)
    return Band(step_K - half_K, step_K, step_K + half_K)
