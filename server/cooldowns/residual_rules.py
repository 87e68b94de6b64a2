"""Measured minus predicted, stage by stage, and the load that would explain what lies outside. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.physics import thermal
from server.physics.statistics import Band

INSIDE, OUTSIDE, NOT_COMPARABLE = "inside", "outside", "not comparable"
LOADS_W = (0.0, *np.geomspace(1e-5, 10.0, 61).tolist())
"""Loads tried, from a hundredth of a milliwatt; between them on straight lines."""


@dataclass(frozen=True)
class Facts:
    """What else must be known before measured and predicted may be compared."""

    began_with: int
    stood_at_base: int
    heater: str
    settled: str
    unrecorded: tuple[str, ...] = ()
    """Lid and windows of which nobody wrote down whether they are in."""
    silent: tuple[str, ...] = ()
    """Stages whose thermometer gives no readings any more."""


@dataclass(frozen=True)
class Residual:
    """One stage. `difference_K` is measured minus predicted with the band of the prediction."""

    stage: str
    measured_K: float | None
    predicted_K: Band | None
    verdict: str
    reason: str = ""

    @property
    def difference_K(self) -> Band | None:
        """None where one of the two is missing."""
        if self.measured_K is None or self.predicted_K is None:
            return None
        return self.predicted_K.scaled(-1.0).shifted(self.measured_K)

    @property
    def outside_K(self) -> float:
        """How far beyond the band it lies; negative when colder; 0 inside."""
        if self.verdict != OUTSIDE or self.measured_K is None or self.predicted_K is None:
            return 0.0
        low, high = self.predicted_K.low, self.predicted_K.high
        if high is not None and self.measured_K > high:
            return self.measured_K - high
        return self.measured_K - (low or 0.0)


def judged(
    stages: Sequence[str],
    measured_K: Mapping[str, float] | None,
    predicted_K: Mapping[str, Band],
    facts: Facts,
) -> tuple[Residual, ...]:
    """Every stage but the vessel; `measured_K` is None as long as no base was written down."""
    why = "no base was written down yet" if measured_K is None else _why_not(facts)
    return tuple(
        _of_stage(stage, (measured_K or {}).get(stage), predicted_K.get(stage), why, facts)
        for stage in stages
        if stage != "vessel"
    )


def _why_not(facts: Facts) -> str:
    """Why nothing may be compared; empty when all may."""
    if facts.settled != "yes":
        return "not at base: it was still moving, or nobody wrote down that it stood still"
    if facts.heater != "off":
        return "the heater was on" if facts.heater == "on" else "nobody wrote down whether the heater was off"
    if facts.stood_at_base != facts.began_with:
        return (
            f"another revision stood inside: predicted for {facts.began_with}, "
            f"measured with {facts.stood_at_base}"
        )
    if facts.unrecorded:
        return f"not recorded whether in or out: {', '.join(facts.unrecorded)}"
    return ""


def _of_stage(
    stage: str, measured_K: float | None, predicted_K: Band | None, why: str, facts: Facts
) -> Residual:
    if not why and measured_K is None:
        why = "silent: no reading since" if stage in facts.silent else f"no reading of the {stage}"
    if not why and predicted_K is None:
        why = "nothing could be predicted"
    if why or measured_K is None or predicted_K is None:
        return Residual(stage, measured_K, predicted_K, NOT_COMPARABLE, why)
    return Residual(stage, measured_K, predicted_K, INSIDE if predicted_K.contains(measured_K) else OUTSIDE)


@dataclass(frozen=True)
class Load:
    """Extra heat that would explain a stage; `beyond` what the cooler was ever measured with."""

    stage: str
    heat_W: Band
    beyond: bool = False


def outside(residuals: Sequence[Residual]) -> tuple[Residual, ...]:
    """Those that lie outside, from the shield inwards."""
    return tuple(row for row in residuals if row.verdict == OUTSIDE)


def implied(
    cryostat: thermal.Cryostat, elements: Sequence[thermal.Element], residuals: Sequence[Residual]
) -> tuple[Load, ...]:
    """The extra load at each stage that is warmer than predicted, from the shield inwards, as a first answer.

    A stage is given the load that moves its prediction to what was measured; what that does to the stages
    further in is taken off before they are looked at. The band is that of the prediction alone. A stage that
    is colder than predicted gets none: no load explains it.
    """
    found: list[Load] = []
    for row in outside(residuals):
        if row.outside_K <= 0.0 or row.measured_K is None or row.predicted_K is None:
            continue
        load = _load(cryostat, elements, row, found)
        if load is not None:
            found.append(load)
    return tuple(found)


def _load(
    cryostat: thermal.Cryostat, elements: Sequence[thermal.Element], row: Residual, before: Sequence[Load]
) -> Load | None:
    """The load of one stage on top of those found before; None where they explain it already."""
    ground = [*elements, *(_source(load.stage, load.heat_W.middle) for load in before)]
    batch = [list(elements), *([*ground, _source(row.stage, heat_W)] for heat_W in LOADS_W)]
    told = [one.get(row.stage) for one in thermal.temperatures(cryostat, batch)]
    known = [(W, T_K) for W, T_K in zip(LOADS_W, told[1:], strict=True) if T_K is not None]
    if told[0] is None or len(known) < 2 or row.measured_K is None or row.predicted_K is None:
        return None
    watts, kelvin = (np.array(column) for column in zip(*known, strict=True))
    shifts_K = [
        None if end is None else row.measured_K - end + told[0]
        for end in (row.predicted_K.high, row.predicted_K.middle, row.predicted_K.low)
    ]
    if shifts_K[0] is not None and shifts_K[0] <= kelvin[0]:
        return None
    low, best, high = (None if T_K is None else float(np.interp(T_K, kelvin, watts)) for T_K in shifts_K)
    return Load(row.stage, Band(low, best, high), beyond=_beyond(cryostat, row.stage, best or 0.0))


def _source(stage: str, heat_W: float) -> thermal.Element:
    return thermal.Source(f"implied-{stage}", "heater", stage, power_W=heat_W)


def _beyond(cryostat: thermal.Cryostat, stage: str, heat_W: float) -> bool:
    """Whether the cooler was ever measured with that much more."""
    if not isinstance(cryostat.cooler, thermal.HeaterTest):
        return False
    heated = "shield" if stage == "shield" else "platform"
    tried = [point.added_W for point in cryostat.cooler.points if point.heated == heated]
    return heat_W > max(tried, default=0.0)
