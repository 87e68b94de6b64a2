"""How heat divides along a run that is clamped here and there: a ladder of spans and fins.

In the variable of Kirchhoff, u = ∫ k dT, every free span is an exact conductance A/L whatever k(T) does, and
a lag is a fin in which k counts as constant. What remains of the run is a conductance between every two of
its ends and stages. All in units of 1/m: multiply by the cross-section.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.physics.materials.arrays import Array


@dataclass(frozen=True)
class Grip:
    """A lag: fin constant m = √(g'/(k A)) and length under the clamp; an infinite `per_m` holds perfectly."""

    per_m: float
    length_m: float

    @property
    def holds(self) -> bool:
        """Whether the run has the stage's own temperature there."""
        return math.isinf(self.per_m)


HELD = Grip(math.inf, 1.0)


Paths = tuple[tuple[int, int, float], ...]
"""Between every two ends and stages, numbered from the warm end: hot, cold, conductance by area [1/m]."""


@lru_cache(maxsize=4096)
def paths(spans_m: tuple[float, ...], grips: tuple[Grip, ...]) -> Paths:
    """How a run conducts; it has one more free span than lags, and every span is longer than zero."""
    if all(grip.holds for grip in grips):
        return tuple((n, n + 1, 1.0 / span_m) for n, span_m in enumerate(spans_m))
    if len(grips) == 1:
        return _one_lag(spans_m[0], spans_m[1], grips[0])
    seen, _ = _ladder(spans_m, grips)
    ends = range(len(seen))
    return tuple((i, j, -float(seen[i, j])) for i in ends for j in ends[i + 1 :])


@lru_cache(maxsize=4096)
def shares(spans_m: tuple[float, ...], grips: tuple[Grip, ...]) -> tuple[tuple[float, ...], ...]:
    """For each free span, where heat goes of which half is given to each of its ends; each adds to 1."""
    ends = len(spans_m) + 1
    into, out_of, _ = _nodes(grips, ends)
    _, given = _ladder(spans_m, grips)
    both = ((given[out_of[k]] + given[into[k + 1]]) / 2.0 for k in range(ends - 1))
    return tuple(tuple(float(part) for part in parts) for parts in both)


def _one_lag(before_m: float, after_m: float, grip: Grip) -> Paths:
    """The closed form of `lag.lag_conductances`, as three conductances."""
    x = grip.per_m * grip.length_m
    t, s = math.tanh(x), 1.0 / math.cosh(min(x, 700.0))
    hot, cold = 1.0 + grip.per_m * after_m * t, 1.0 + grip.per_m * before_m * t
    whole_m = before_m * hot + after_m + t / grip.per_m
    return (0, 1, (hot - s) / whole_m), (0, 2, s / whole_m), (1, 2, (cold - s) / whole_m)


def _ladder(spans_m: tuple[float, ...], grips: tuple[Grip, ...]) -> tuple[Array, Array]:
    """Conductances as the ends see them, and what each end has of the potential of every node."""
    ends = len(spans_m) + 1
    into, out_of, nodes = _nodes(grips, ends)
    conductance = np.zeros((nodes, nodes))
    for number, span_m in enumerate(spans_m):
        _add(conductance, out_of[number], into[number + 1], 1.0 / span_m)
    for number, grip in enumerate(grips, start=1):
        if not grip.holds:
            _add_fin(conductance, number, into[number], out_of[number], grip)
    inner = slice(ends, nodes)
    spread = -np.linalg.solve(conductance[inner, inner], conductance[inner, :ends])
    seen = conductance[:ends, :ends] + conductance[:ends, inner] @ spread
    return seen, np.vstack([np.eye(ends), spread])


def _nodes(grips: tuple[Grip, ...], ends: int) -> tuple[list[int], list[int], int]:
    """Where the run enters and leaves each stage: the stage itself if it holds, else two nodes of its own."""
    into, out_of, count = list(range(ends)), list(range(ends)), ends
    for number, grip in enumerate(grips, start=1):
        if not grip.holds:
            into[number], out_of[number], count = count, count + 1, count + 2
    return into, out_of, count


def _add_fin(conductance: Array, stage: int, into: int, out_of: int, grip: Grip) -> None:
    """A fin as a π of three conductances."""
    x = grip.per_m * grip.length_m
    _add(conductance, into, out_of, grip.per_m / math.sinh(min(x, 300.0)))
    for node in (into, out_of):
        _add(conductance, stage, node, grip.per_m * math.tanh(x / 2.0))


def _add(conductance: Array, one: int, other: int, value: float) -> None:
    conductance[one, one] += value
    conductance[other, other] += value
    conductance[one, other] -= value
    conductance[other, one] -= value
