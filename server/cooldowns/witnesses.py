"""Witnesses of a cooldown: what was read at base and on the way, beside what this cryostat usually shows."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from sqlmodel import Session, col, select

from server.cooldowns import entry_kinds, residual, rules, trends
from server.cooldowns.diagnosis_rules import RATIOS, SIGMAS
from server.cooldowns.finding import Sheet, sheets
from server.cooldowns.models import Cooldown
from server.cooldowns.residual_rules import NOT_COMPARABLE
from server.physics.thermal.diagnosis import Reading

NORMAL_95 = 1.959964
OF_NORMAL = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""


@dataclass(frozen=True)
class Witness:
    """One witness: what was read in SI, what is usual, and the standard deviation that counts.

    For a stage `usual` is what it usually reads above the prediction; for the others the usual reading.
    `reason` says why it is no witness.
    """

    name: str
    read: float | None
    usual: float | None
    count: int
    sigma: float
    reason: str = ""

    @property
    def reading(self) -> Reading | None:
        """As the diagnosis takes it; None when it is no witness."""
        if self.reason or self.read is None:
            return None
        if self.name not in RATIOS:
            return Reading(self.read, self.sigma)
        return Reading(math.log(self.read / (self.usual or self.read)), self.sigma)


def past(session: Session, sheet: Sheet) -> list[Sheet]:
    """The cooldowns before this one since the last break of the trend, oldest first."""
    query = select(Cooldown).where(
        Cooldown.cryostat_id == sheet.cryostat.id,
        Cooldown.number < sheet.cooldown.number,
        col(Cooldown.started_at).is_not(None),
    )
    at = [row.at for row in trends.breaks(session, sheet.cooldown.cryostat_id)]
    broken = [moment for moment in at if moment <= sheet.cooldown.begun_at]
    if broken:
        query = query.where(col(Cooldown.begun_at) >= broken[-1])
    rows = session.exec(query.order_by(col(Cooldown.number).desc()).limit(rules.LAST)).all()
    return list(reversed(sheets(session, sheet.cryostat, rows)))


def figures(sheet: Sheet) -> dict[str, float]:
    """Cold pressure, time to 10 K and static helium of a cooldown, where they were written down."""
    found = trends.figures(sheet)
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    told = {
        "pressure": base.data.get("pressure_Pa") if base else None,
        "cooldown": found.get("platform 10", found.get("cool")),
        "helium": found.get("helium"),
    }
    return {name: value for name, value in told.items() if value}


def taken(session: Session, sheet: Sheet, sigmas: Mapping[str, float]) -> tuple[Witness, ...]:
    """Every witness of a cooldown; `sigmas` are those somebody chose, and count as they are."""
    before = past(session, sheet)
    above_K = _above_K(session, before)
    base = residual.measured_K(rules.newest(sheet.entries, entry_kinds.BASE)) or {}
    stages = [
        _stage(sheet, stage, base.get(stage), above_K.get(stage, []), sigmas)
        for stage in sheet.cryostat.stages
        if stage != "vessel"
    ]
    return (*stages, *_ratios(sheet, before, sigmas))


def _above_K(session: Session, before: Sequence[Sheet]) -> dict[str, list[float]]:
    """Stage → measured minus predicted of each comparable cooldown."""
    found: dict[str, list[float]] = {}
    for sheet in before:
        for row in residual.of(session, sheet):
            if row.verdict != NOT_COMPARABLE and row.difference_K is not None:
                found.setdefault(row.stage, []).append(row.difference_K.middle)
    return found


def _stage(
    sheet: Sheet, stage: str, read_K: float | None, above_K: list[float], sigmas: Mapping[str, float]
) -> Witness:
    usual_K = float(np.median(above_K)) if above_K else None
    sigma = sigmas.get(stage) or math.hypot(SIGMAS[stage], _spread_K(sheet, stage, above_K))
    reason = "" if read_K is not None else "not read at base"
    return Witness(stage, read_K, usual_K, len(above_K), sigma, reason)


def _spread_K(sheet: Sheet, stage: str, above_K: list[float]) -> float:
    """How well the prediction is known here: from the past, or from its own band where there is none."""
    if len(above_K) >= rules.FEWEST:
        return OF_NORMAL * float(np.median(np.abs(np.array(above_K) - np.median(above_K))))
    if above_K:
        return SIGMAS[stage]
    band = sheet.expected_K.get(stage)
    if band is None or band.low is None or band.high is None:
        return 0.0
    return (band.high - band.low) / (2.0 * NORMAL_95)


def _ratios(sheet: Sheet, before: Sequence[Sheet], sigmas: Mapping[str, float]) -> list[Witness]:
    here, there = figures(sheet), [figures(one) for one in before]
    rows = []
    for name in RATIOS:
        known = [one[name] for one in there if name in one]
        usual = float(np.median(known)) if known else None
        reason = "not written down" if name not in here else "" if known else "nothing to compare it with yet"
        sigma = sigmas.get(name, SIGMAS[name])
        rows.append(Witness(name, here.get(name), usual, len(known), sigma, reason))
    return rows
