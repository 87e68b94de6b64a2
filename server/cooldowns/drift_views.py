"""What the page of drift shows: charts, tables, and the parts of the newest stretch in words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from sqlmodel import Session

from server.cooldowns import diagnosis_rules, drift, plots
from server.cooldowns.drift import STAGES, WITNESSES, Chart, Stretch
from server.cooldowns.plots import Curve, Drawing, Mark, Predicted
from server.cryostats.models import Cryostat
from server.physics.statistics import Band, Sizes
from server.units import in_unit, show_band, unit_for
from server.web.tabular import Figure, Style, written

MONTH_DAYS = 30.0


@dataclass(frozen=True)
class Part:
    """One part of the drift of a witness: what, how much, and what was predicted."""

    witness: str
    what: str
    size: str
    predicted: str = ""


@dataclass(frozen=True)
class Line:
    """One cooldown of a table: its number, and each witness as text; `said` are charts that speak here."""

    number: int
    revision: int
    cells: Sequence[str]
    said: Sequence[str]
    why_not: str


@dataclass(frozen=True)
class StretchView:
    """One stretch as the page tells it."""

    reason: str
    lines: Sequence[Line]
    parts: Sequence[Part]
    slope_chance: str
    event_at: int | None
    event_chance: str
    left: Sequence[str]
    opened: str


@dataclass(frozen=True)
class DriftView:
    """The page."""

    cryostat: Cryostat
    drawing: Drawing | None
    stretches: Sequence[StretchView]
    """Newest first."""
    columns: Sequence[str] = field(default=tuple(label for label, _, _ in WITNESSES.values()))


def page(session: Session, cryostat: Cryostat, zone: str) -> DriftView:
    """The drift of a cryostat."""
    found = drift.of(session, cryostat)
    return DriftView(cryostat, _drawing(found, zone), [_told(one) for one in reversed(found)])


def _told(one: Stretch) -> StretchView:
    event = one.parted.event_place if one.parted else None
    return StretchView(
        reason=one.begun_by.reason if one.begun_by else "",
        lines=_lines(one),
        parts=_parts(one, event),
        slope_chance=_chance(one.parted.slope_probability) if one.parted else "",
        event_at=one.points[event].sheet.cooldown.number if event is not None else None,
        event_chance=_chance(sum(one.parted.event_probability.values())) if one.parted else "",
        left=_left(one),
        opened=_opened(one),
    )


def _opened(one: Stretch) -> str:
    """Where an event was looked for."""
    if not one.by_slips:
        return "No slip of an opening was written in this stretch, so an event may lie before any cooldown."
    numbers = ", ".join(str(one.points[place].sheet.cooldown.number) for place in one.open_places)
    if not numbers:
        return (
            "By the slips it was opened only for changes that were declared, so no other event is looked for."
        )
    return (
        f"By the slips it was opened, without a declared change, before cooldown {numbers}: "
        "an event is looked for there only."
    )


def _chance(probability: float) -> str:
    return (
        f"{100 * probability:.0f} %" if 0.01 <= probability <= 0.99 else "sure" if probability > 0.5 else "no"
    )


def shown(name: str, value: float) -> str:
    """A value of a witness in the unit people read."""
    if name in STAGES:
        return show_band(value, unit_for([value], "K"), signed=True)
    return in_unit(value, WITNESSES[name][1])


def _lines(one: Stretch) -> list[Line]:
    said: dict[int, list[str]] = {}
    for chart in one.charts:
        label = WITNESSES[chart.name][0].lower()
        for kind, places in (("average", chart.average.outside), ("sum", chart.sums.outside)):
            for place in places:
                said.setdefault(chart.places[place], []).append(f"{label}: {kind} beyond its limit")
    return [
        Line(
            point.sheet.cooldown.number,
            point.sheet.expectation.revision,
            [shown(name, point.values[name]) if name in point.values else "–" for name in WITNESSES],
            said.get(place, []),
            point.why_not,
        )
        for place, point in enumerate(one.points)
    ]


def _parts(one: Stretch, event: int | None) -> list[Part]:
    if one.parted is None:
        return []
    rows = []
    for name, sizes in zip(one.names, one.parted.witnesses, strict=True):
        rows.append(Part(name, "slope in 30 days", _size(name, sizes.slope.scaled(MONTH_DAYS))))
        if name in STAGES:
            rows += [_step(one, name, at, step) for at, step in zip(one.steps, sizes.steps, strict=True)]
        if event is not None:
            number = one.points[event].sheet.cooldown.number
            rows.append(Part(name, f"event before cooldown {number}, not declared", _size(name, sizes.event)))
    return [Part(WITNESSES[row.witness][0], row.what, row.size, row.predicted) for row in rows]


def _step(one: Stretch, name: str, place: int, step: Band) -> Part:
    before, after = one.points[place - 1], one.points[place]
    number, revision = after.sheet.cooldown.number, after.sheet.expectation.revision
    what = f"declared before cooldown {number}, revision {revision}"
    known = name in before.expected_K and name in after.expected_K
    predicted = _size(name, after.expected_K[name] - before.expected_K[name]) if known else ""
    return Part(name, what, _size(name, step), predicted)


def _size(name: str, size: Band | float) -> str:
    if name not in STAGES:
        return show_band(size, "%", signed=True)
    return show_band(size, unit_for([size], "K"), signed=True)


def _left(one: Stretch) -> list[str]:
    """What slope, steps and event leave over, where it is more than two standard deviations."""
    if one.parted is None:
        return []
    return [
        f"{WITNESSES[name][0]}: up to {_size(name, _largest(sizes))} is unexplained"
        for name, sizes in zip(one.names, one.parted.witnesses, strict=True)
        if abs(_largest(sizes)) > diagnosis_rules.UNEXPLAINED * drift.SPREAD[name]
    ]


def _largest(sizes: Sizes) -> float:
    return max((value for value in sizes.unexplained if not math.isnan(value)), key=abs, default=0.0)


def _drawing(found: Sequence[Stretch], zone: str) -> Drawing | None:
    """A panel a witness; a stretch is a curve of its own, with the limits of its moving average behind it."""
    curves, bands = [], []
    for number, one in enumerate(found):
        for chart in one.charts:
            curves.append(_curve(one, chart, number))
            bands.append(_limits(one, chart))
    if not curves:
        return None
    begins = [point.sheet.cooldown.begun_at.timestamp() for one in found for point in one.points]
    breaks = [one.begun_by for one in found if one.begun_by]
    marks = [Mark(f"break: {row.reason}", row.at.timestamp()) for row in breaks]
    room_s = max(0.03 * (begins[-1] - begins[0]), drift.DAY_S)
    return plots.draw(curves, begins[0] - room_s, begins[-1] + room_s, zone, predicted=bands, marks=marks)


def _unit(chart: Chart) -> str:
    label, _, _ = WITNESSES[chart.name]
    return f"{label}, {'mK' if chart.name in STAGES else '% from its first'}"


def _scaled(chart: Chart, values: Sequence[float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array(values, dtype=float) * (1e3 if chart.name in STAGES else 1e2)


def _times_s(one: Stretch, chart: Chart) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([one.points[place].sheet.cooldown.begun_at.timestamp() for place in chart.places])


def _curve(one: Stretch, chart: Chart, number: int) -> Curve:
    values = _scaled(chart, chart.values)
    key = chart.name if chart.name in STAGES and number == 0 else ""
    label = WITNESSES[chart.name][0].split(" above")[0]
    label = f"{label} {number + 1}" if number else label
    return Curve(label, _unit(chart), _times_s(one, chart), values, values, math.inf, key=key)


def _limits(one: Stretch, chart: Chart) -> Predicted:
    low, high = (_scaled(chart, ends.tolist()) for ends in (chart.average.lower, chart.average.upper))
    times_s = _times_s(one, chart).tolist()
    return Predicted("limits of the average", _unit(chart), times_s, low.tolist(), high.tolist())


def table(session: Session, cryostat: Cryostat, style: Style) -> str:
    """Every cooldown with its witnesses in SI, as a table to take along."""
    units = ["K" if name in STAGES else "Pa" if name == "helium" else "s" for name in WITNESSES]
    names = [f"{name} ({unit})" for name, unit in zip(WITNESSES, units, strict=True)]
    rows = []
    for number, one in enumerate(drift.of(session, cryostat), 1):
        for point in one.points:
            cooldown, values = point.sheet.cooldown, point.values
            cells = [Figure(f"{values[name]:.6g}") if name in values else "" for name in WITNESSES]
            revision = str(point.sheet.expectation.revision)
            begun = cooldown.begun_at.isoformat()
            rows.append([str(cooldown.number), str(number), revision, begun, *cells, point.why_not])
    head = ("cooldown", "stretch", "revision", "begun (UTC)", *names, "why not compared")
    return written(head, rows, style)
