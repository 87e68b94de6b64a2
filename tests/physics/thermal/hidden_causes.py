"""Hidden causes of known size in invented builds, and the ranker that knows how they were hidden.

The generator draws a build, a suspect or two, and sizes, solves the balance with them inside and adds noise
to the witnesses. `knowing` ranks with the generator's own frequencies, sizes and share of doubles, and with
finer pieces: what it does not name, the witnesses do not tell.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations, permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.physics.thermal import (
    Cryostat,
    Gas,
    HeaterPoint,
    HeaterTest,
    Joint,
    Lag,
    Lid,
    Run,
    Source,
    Support,
    Surface,
    Window,
)
from server.physics.thermal.cooler import Bare
from server.physics.thermal.diagnosis import Explanation, Reading
from server.physics.thermal.elements import Element
from server.physics.thermal.explaining import Found, explained
from server.physics.thermal.fitting import Case
from server.physics.thermal.signatures import Curve, USUAL_PRESSURE_Pa, curves, expected_at, shifts_of
from server.physics.thermal.suspects import Suspect, direct, suspects, varied

Array = NDArray[np.float64]
NAMES = ("shield", "platform", "sample", "pressure", "cooldown")
SIGMA = np.array([0.15, 0.010, 0.020, 0.2, 0.03])
STAGES = ("vessel", "shield", "platform", "mount", "sample")
SEEN_SIGMAS = 4.0
"""A hidden cause shifts the witnesses at least so far: one that does nothing is nothing to find."""
WIDE = {"touch": 0.8, "gas": 0.7, "heat-left-on": 0.8}
"""Each size is drawn from this part of the suspect's own range, the middle of it, or from all."""
NEVER = 1e-9
DOUBLES = 0.2
OFTEN = {"touch": 3.0, "lag-lost": 2.0, "joint-worse": 2.0}


@dataclass(frozen=True, eq=False)
class Build:
    """One invented cryostat with a configuration."""

    cryostat: Cryostat
    elements: tuple[Element, ...]

    @cached_property
    def expected(self) -> dict[str, float]:
        return expected_at(self.cryostat, self.elements, NAMES)

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        found = suspects(self.cryostat, self.elements)
        return tuple(one for one in found if one.cause != "thermometer-wrong" or one.where in NAMES)


@dataclass(frozen=True, eq=False)
class Hidden:
    """A case: what was hidden, with its sizes, and what was read."""

    build: Build
    causes: tuple[Suspect, ...]
    sizes: tuple[float, ...]
    readings: dict[str, Reading]


def builds(seed: int, count: int) -> list[Build]:
    """Invented builds: looms, coax, lid, windows, joints of varied sizes."""
    rng = np.random.default_rng(seed)
    return [_build(rng) for _ in range(count)]


def _build(rng: np.random.Generator) -> Build:
    slope = rng.uniform(6.0, 9.0)
    base, shield = rng.uniform(3.0, 3.4), rng.uniform(29.0, 36.0)
    points = [HeaterPoint("platform", w, shield + 2 * w, base + slope * w) for w in (0.0, 0.03, 0.1, 0.3)]
    points += [HeaterPoint("shield", w, shield + 1.1 * w, base + 0.004 * w) for w in (0.0, 3.0, 8.0)]
    house = _house(rng)
    lines = tuple(_loom(rng, f"loom-{number}") for number in range(int(rng.integers(1, 4))))
    joints = (
        Joint("mount", "mount", "platform", "greased"),
        Joint("carrier", "sample", "mount", "greased", resistance_K_W=float(rng.uniform(15.0, 40.0))),
    )
    light = Source("light", "laser", "sample", float(rng.uniform(0.1e-3, 1e-3)))
    cryostat = Cryostat(STAGES, HeaterTest(tuple(points)), Bare(house))
    return Build(cryostat, (*house, *joints, *lines, light))


def _house(rng: np.random.Generator) -> tuple[Element, ...]:
    return (
        Support("posts", "g10-normal", 4, area_m2=28e-6, length_m=0.05, hot_stage="shield"),
        Surface("outside", area_m2=float(rng.uniform(0.12, 0.25)), cold_finish="bright-plated"),
        Surface("inside", "shield", "platform", area_m2=0.06, cold_finish="bare-copper"),
        Lid("lid", "on", 0.09),
        Window("south", "in", "fused-silica", float(rng.uniform(0.02, 0.03))),
        Gas("gas", "helium", USUAL_PRESSURE_Pa),
    )


def _loom(rng: np.random.Generator, key: str) -> Run:
    lags = (Lag("shield", 0.02, "varnish", "good"), Lag("platform", 0.015, "varnish", "good"))
    return Run(
        key,
        "wire",
        str(rng.choice(["phosphor-bronze", "manganin", "constantan"])),
        int(rng.integers(4, 49)),
        0.127e-3,
        {
            ("vessel", "shield"): 0.3,
            ("shield", "platform"): 0.15,
            ("platform", "mount"): 0.05,
            ("mount", "sample"): 0.03,
        },
        lags,
        "sample",
    )


def sizes_of(suspect: Suspect, points: int) -> Array:
    """The sizes a generator hides, evenly on a logarithmic scale."""
    if suspect.sizes is None:
        return np.array([1.0])
    low, high = np.log(suspect.sizes)
    less = 0.5 * (1.0 - WIDE.get(suspect.cause, 1.0)) * (high - low)
    return np.asarray(np.exp(np.linspace(low + less, high - less, points)))


def weight_of(build: Build, suspect: Suspect) -> float:
    """How often a generator hides this suspect among the build's."""
    places = sum(one.cause == suspect.cause for one in build.suspects)
    return OFTEN.get(suspect.cause, 1.0) / places


def shift_of(build: Build, causes: Sequence[Suspect], sizes: Sequence[float]) -> Array:
    """What the causes do to the witnesses, in standard deviations, solved together."""
    elements = build.elements
    told = np.zeros(len(NAMES))
    for one, size in zip(causes, sizes, strict=True):
        elements = varied(elements, one, size)
        told = told + [direct(one, size, name, USUAL_PRESSURE_Pa) for name in NAMES]
    return np.asarray((shifts_of(build.cryostat, build.elements, [elements], NAMES)[0] + told) / SIGMA)


def hide(rng: np.random.Generator, build: Build, count: int) -> Hidden:
    """One case with `count` causes that each can be seen."""
    weights = np.array([weight_of(build, one) for one in build.suspects])
    while True:
        chosen = rng.choice(len(weights), size=count, replace=False, p=weights / weights.sum())
        causes = tuple(build.suspects[number] for number in chosen)
        sizes = tuple(float(rng.choice(sizes_of(one, 4001))) for one in causes)
        seen = all(
            np.linalg.norm(shift_of(build, [one], [size])) > SEEN_SIGMAS
            for one, size in zip(causes, sizes, strict=True)
        )
        shift = shift_of(build, causes, sizes)
        if seen and not _one_element(causes) and np.abs(shift).max() < 1e4:
            return Hidden(build, causes, sizes, _read(rng, build, shift))


def _one_element(causes: Sequence[Suspect]) -> bool:
    return any(
        one.element is other.element if one.element else (one.cause, one.where) == (other.cause, other.where)
        for one, other in combinations(causes, 2)
    )


def _read(rng: np.random.Generator, build: Build, shift: Array) -> dict[str, Reading]:
    values = [build.expected[name] for name in NAMES] + SIGMA * (shift + rng.normal(size=len(NAMES)))
    return {
        name: Reading(float(value), float(s)) for name, value, s in zip(NAMES, values, SIGMA, strict=True)
    }


def knowing(hidden: Hidden) -> list[Found]:
    """What the ranker that knows the generator says of a case."""
    build = hidden.build
    drawn = [
        one for one in curves(build.cryostat, build.elements, _as_hidden(build), NAMES) if _seen(one).any()
    ]
    drawn = [_only_seen(one) for one in drawn]
    weight = [weight_of(build, one.suspect) for one in drawn]
    read = np.array([hidden.readings[name].value - build.expected[name] for name in NAMES]) / SIGMA
    prior = np.log(np.array(weight) / sum(weight))
    case = Case(build.cryostat, build.elements, NAMES, read, SIGMA, prior)
    return explained(case, drawn, NEVER, NEVER, DOUBLES)


def _as_hidden(build: Build) -> list[Suspect]:
    return [
        replace(one, sizes=(float(sizes_of(one, 2)[0]), float(sizes_of(one, 2)[-1]))) if one.sizes else one
        for one in build.suspects
    ]


def _seen(curve: Curve) -> NDArray[np.bool_]:
    logs = np.linspace(curve.log_sizes[0], curve.log_sizes[-1], 401)
    return np.asarray(np.linalg.norm(curve.at(logs) / SIGMA, axis=1) > SEEN_SIGMAS)


def _only_seen(curve: Curve) -> Curve:
    """The part of a curve that a generator hides: from the first size that can be seen."""
    if curve.suspect.sizes is None:
        return curve
    logs = np.linspace(curve.log_sizes[0], curve.log_sizes[-1], 401)
    kept = np.linspace(logs[np.flatnonzero(_seen(curve))[0]], logs[-1], len(curve.log_sizes))
    return replace(curve, log_sizes=kept, shifts=curve.at(kept))


def place_of(hidden: Hidden, told: Sequence[Any]) -> int | None:
    """At which place, from 0, an explanation names all that was hidden; None when none does."""
    truth = [one.key for one in hidden.causes]
    return next((place for place, one in enumerate(told) if _names(one, truth)), None)


def _names(one: Any, truth: Sequence[str]) -> bool:
    alike = one.alike if isinstance(one, Found) else tuple(fitted.alike for fitted in one.causes)
    classes = [{suspect.key for suspect in some} for some in alike]
    return len(classes) == len(truth) and any(
        all(key in some for key, some in zip(order, classes, strict=True)) for order in permutations(truth)
    )


def covers(hidden: Hidden, told: Sequence[Explanation]) -> list[bool]:
    """Whether the band of each size that was hidden holds it, in the explanation of just these causes."""
    by_key = dict(zip((one.key for one in hidden.causes), hidden.sizes, strict=True))
    exact = next((one for one in told if {fit.suspect.key for fit in one.causes} == set(by_key)), None)
    if exact is None:
        return []
    bands = [(fit.size, by_key[fit.suspect.key]) for fit in exact.causes if fit.size is not None]
    return [band.low <= size <= band.high for band, size in bands if band.low and band.high]
