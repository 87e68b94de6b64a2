"""Two weeks of readings of both invented cryostats: base with its daily swing, step tests, a silent gauge."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from sqlmodel import Session

from server.cooldowns import channels, readings
from server.cooldowns.blocks import Values
from server.cooldowns.channels_rules import Wanted
from server.cryostats import budget
from server.cryostats.guards import find
from server.cryostats.models import Cryostat
from server.people.models import Person

DAYS, STEP_S = 14, 600.0
KEPT_SILENT_S = 30 * 86400.0
"""The demo has no logger that goes on, so that only the gauge that is meant to be silent is."""
BASE_K = {"shield": 33.0, "platform": 3.3, "mount": 3.45, "sample": 3.6}
NOISE_K = {"shield": 0.02, "platform": 0.0012, "mount": 0.0015, "sample": 0.002}
SWING_K = {"shield": 0.12, "platform": 0.004, "mount": 0.004, "sample": 0.005}


@dataclass(frozen=True)
class Bench:
    """What is logged on one cryostat. A gauge may have been silent for some days."""

    slug: str
    stages: tuple[str, ...]
    steps: bool
    gauge_silent_days: float


BENCHES = (
    Bench("bench-a", ("shield", "platform", "sample"), True, 0.0),
    Bench("bench-b", ("shield", "platform"), False, 2.0),
)


def tell(session: Session, people: Mapping[str, Person], at: datetime) -> None:
    """Tell them up to `at`, with the channels they belong to."""
    random = np.random.default_rng(11)
    times_s = at.timestamp() - STEP_S * np.arange(DAYS * 86400 // STEP_S)[::-1]
    for bench in BENCHES:
        cryostat = find(session, bench.slug)
        for wanted in _wanted(bench):
            channels.make(session, people["quill"], cryostat, wanted, at - timedelta(days=DAYS))
        values = _values(session, cryostat, bench, times_s, random)
        readings.store(session, people["maren"], cryostat, values, at)


def _wanted(bench: Bench) -> list[Wanted]:
    stages = [
        Wanted(stage.capitalize(), "temperature", "K", stage, silent_after_s=KEPT_SILENT_S)
        for stage in bench.stages
    ]
    return [
        *stages,
        Wanted(
            "Vacuum",
            "pressure",
            "mbar",
            silent_after_s=6 * 3600.0 if bench.gauge_silent_days else KEPT_SILENT_S,
        ),
    ]


def _values(
    session: Session, cryostat: Cryostat, bench: Bench, times_s: Values, random: np.random.Generator
) -> dict[str, tuple[Values, Values]]:
    expected = budget.of_revision(session, cryostat, cryostat.revision).budget.temperatures
    swing = np.sin(2 * np.pi * times_s / 86400.0 + 2.0)
    found: dict[str, tuple[Values, Values]] = {}
    for stage in bench.stages:
        band = expected.get(stage)
        base_K = band.best if band is not None and band.best else BASE_K[stage]
        noise = NOISE_K[stage] * random.standard_normal(len(times_s))
        heated = _steps_K(times_s, stage) if bench.steps else 0.0
        found[stage.capitalize()] = (times_s, np.round(base_K + SWING_K[stage] * swing + noise + heated, 4))
    pressure = 2.2e-6 * (1 + 0.03 * random.standard_normal(len(times_s)) + 0.05 * swing)
    gauge = times_s <= times_s[-1] - bench.gauge_silent_days * 86400.0
    written = np.array([float(f"{value:.2e}") for value in pressure.tolist()])
    found["Vacuum"] = (times_s[gauge], written[gauge])
    return found


def _steps_K(times_s: Values, stage: str) -> Values:
    """Step tests of the evenings: the sample heated in four steps, the platform feels a little of it."""
    hour = (times_s / 3600.0) % 24.0
    day = (times_s // 86400.0) % 3 == 0
    level = np.clip(np.floor((hour - 16.0) / 1.5) + 1, 0, 4) * (hour < 22.0) * day
    share = {"sample": 2.4, "platform": 0.08, "shield": 0.0}.get(stage, 0.0)
    return np.asarray(share * level, np.float64)
