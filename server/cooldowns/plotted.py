"""One cooldown as a drawing: phases, what was predicted, marks, readings or what was written."""

import math
from datetime import datetime

import numpy as np
from sqlmodel import Session

from server.cooldowns import channels, entry_kinds, plots, residual, rules
from server.cooldowns.finding import Sheet
from server.cooldowns.plots import Curve, Drawing, Mark, Phase, Predicted
from server.cooldowns.plots_curves import curves
from server.cooldowns.residual import TEMPERATURE

ROOM_K = 295.0


def drawing(session: Session, sheet: Sheet, zone: str, now: datetime) -> Drawing | None:
    """The drawing of a cooldown; None before anything can be drawn."""
    row = sheet.cooldown
    begin, end = row.begun_at, row.ended_at or now
    chosen = [
        one
        for one in channels.of(session, row.cryostat_id)
        if one.quantity == TEMPERATURE and one.unit == "K" and one.stage
    ]
    logged = curves(session, row.cryostat_id, chosen, begin, end)
    lines = [line for line in logged if len(line.times_s)]
    if not lines:
        lines, end = _written(sheet), _seen_until(sheet, end)
    if not lines:
        return None
    return plots.draw(
        lines,
        begin.timestamp(),
        end.timestamp(),
        zone,
        axis="log",
        phases=_phases(sheet, now),
        predicted=_predicted(sheet, end),
        marks=_marks(sheet),
    )


def _seen_until(sheet: Sheet, end: datetime) -> datetime:
    """Without readings nothing is known after base: the drawing stops as long after it as it took."""
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    return min(end, base.at + (base.at - sheet.cooldown.begun_at)) if base else end


def _written(sheet: Sheet) -> list[Curve]:
    """A curve for each stage through its marks and its base, as somebody wrote them down."""
    found: dict[str, list[tuple[float, float]]] = {}
    for mark in rules.marks(sheet.cooldown, sheet.entries):
        if mark.target != "base":
            found.setdefault(mark.stage, []).append((mark.at.timestamp(), float(mark.target)))
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    for stage, kelvin in (residual.measured_K(base) or {}).items():
        if base is not None:
            found.setdefault(stage, []).append((base.at.timestamp(), kelvin))
    return [_curve(sheet, stage, sorted(points)) for stage, points in found.items()]


def _curve(sheet: Sheet, stage: str, points: list[tuple[float, float]]) -> Curve:
    start = sheet.cooldown.started_at
    whole = [(start.timestamp(), ROOM_K), *points] if start and len(points) > 1 else points
    times_s, kelvin = (np.array(column) for column in zip(*whole, strict=True))
    return Curve(f"{stage} as written", "K", times_s, kelvin, kelvin, math.inf, decades=True, key=stage)


def _phases(sheet: Sheet, now: datetime) -> list[Phase]:
    row = sheet.cooldown
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    moments = [
        ("pumped", row.begun_at),
        ("cooling", row.started_at),
        ("cold", base.at if base else None),
        ("warming", row.warming_at),
    ]
    begun = [(label, at) for label, at in moments if at is not None]
    ends = [at for _, at in begun[1:]] + [row.ended_at or now]
    return [
        Phase(label, at.timestamp(), end.timestamp()) for (label, at), end in zip(begun, ends, strict=True)
    ]


def _predicted(sheet: Sheet, end: datetime) -> list[Predicted]:
    """A stripe for each stage from the beginning of cooling on, where the prediction has both ends."""
    row = sheet.cooldown
    if row.started_at is None:
        return []
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    times_s = ((base.at if base else row.started_at).timestamp(), (row.warming_at or end).timestamp())
    return [
        Predicted(f"{stage}, predicted", "K", times_s, (band.low, band.low), (band.high, band.high), stage)
        for stage, band in sheet.expected_K.items()
        if stage in ("shield", "platform") and band.low is not None and band.high is not None
    ]


def _marks(sheet: Sheet) -> list[Mark]:
    reached = [
        Mark(f"{mark.target} K", mark.at.timestamp(), float(mark.target), "K")
        for mark in rules.marks(sheet.cooldown, sheet.entries)
        if mark.target != "base" and mark.stage == "platform"
    ]
    stopped = [
        Mark("stopped", row.at.timestamp())
        for row in rules.counting(sheet.entries)
        if row.kind == entry_kinds.STOPPED
    ]
    return reached + stopped
