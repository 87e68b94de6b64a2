"""A series told apart into slope, declared steps and an event nobody declared, over several witnesses.

Every witness (platform, shield, cooldown time, …) is a level, plus a slope in time, plus steps at places that
were declared, plus at most one further step at a place that was open to one. All are sizes with Gaussian
priors, so each combination of “slope or none” and “event here, there or nowhere” has an exact evidence; the
sizes are told over all combinations, weighed by it. The place of an event is one for all witnesses: that is
what lets a second witness settle it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from server.physics.arguments import check_finite, check_positive
from server.physics.errors import Unphysical
from server.physics.statistics.bands import Band

Array = NDArray[np.float64]
LEVEL_SCALES = 100.0
"""How many scales wide the level may lie anywhere: wide enough to say nothing."""
SLOPE_PRIOR, EVENT_PRIOR = 0.3, 0.3
"""How often a series has a slope, and an event, before it is looked at: common practice, no source."""
NORMAL_95 = 1.959964
TINY = 1e-9
HALVINGS = 50
FEWEST = 3


@dataclass(frozen=True)
class Witness:
    """One series: `values` in its own unit, NaN where missing; `sigma` is the standard deviation of one.

    `scale` is the size a slope over the whole series, a step or an event may well have; `predicted` holds
    what each declared step ought to be, as a central 95 % band, or None where nobody said.
    """

    values: tuple[float, ...]
    sigma: float
    scale: float
    predicted: tuple[Band | None, ...] = ()


@dataclass(frozen=True)
class Sizes:
    """Slope per unit of time, each declared step, and the event, for one witness; and what is left over.

    `unexplained` is value minus all of these at each place, by the likeliest combination.
    """

    slope: Band
    steps: tuple[Band, ...]
    event: Band
    unexplained: tuple[float, ...]
    chi_squared: float


@dataclass(frozen=True)
class Separated:
    """All witnesses together.

    `slope_probability` is that of any slope; `event_probability` maps each open place to the probability that
    an event lies there; what is missing to one is that there was none.
    """

    witnesses: tuple[Sizes, ...]
    slope_probability: float
    event_probability: dict[int, float]

    @property
    def event_place(self) -> int | None:
        """The likeliest place of an event; None when none is likelier."""
        none = 1.0 - sum(self.event_probability.values())
        place = max(self.event_probability, key=lambda one: self.event_probability[one], default=None)
        return place if place is not None and self.event_probability[place] > none else None


def separate(
    times: Sequence[float], witnesses: Sequence[Witness], steps: Sequence[int], open_places: Sequence[int]
) -> Separated:
    """Tell slope, declared steps and an undeclared event apart.

    Parameters
    ----------
    times : sequence of float
        [1] when each value was taken, rising, in any unit; the slope is per that unit.
    witnesses : sequence of Witness
        One or more series, each as long as `times`.
    steps : sequence of int
        Places of declared changes: the first value after each.
    open_places : sequence of int
        Places before which an event may have happened, such as every opening: only there one is looked for.

    Returns
    -------
    Separated
        Sizes with central 95 % bands over all combinations, and the probabilities of slope and event.

    Raises
    ------
    Unphysical
        When lengths differ, times do not rise, a sigma or scale is not above zero, or a place lies outside.

    Examples
    --------
    >>> platform = Witness((3.30, 3.31, 3.30, 3.41, 3.40, 3.41), 0.007, 0.3)
    >>> found = separate(range(6), [platform], [], [2, 3])
    >>> found.event_place, round(found.witnesses[0].event.best, 2)
    (3, 0.11)

    References
    ----------
    Gelman et al., Bayesian Data Analysis (normal linear model, averaging over models); how often a slope or
    an event is expected is common practice, no source.
    """
    moments = _checked(times, witnesses, steps, open_places)
    ways = [_Way(slope, event) for slope, event in product((False, True), (None, *open_places))]
    fits = [[_fit(moments, one, steps, way) for one in witnesses] for way in ways]
    weights = _normalised(
        [
            _log_prior(way, len(open_places)) + sum(fit.log_evidence for fit in row)
            for way, row in zip(ways, fits, strict=True)
        ]
    )
    slope = float(sum(weight for weight, way in zip(weights, ways, strict=True) if way.slope))
    event = {
        place: float(sum(weight for weight, way in zip(weights, ways, strict=True) if way.event == place))
        for place in open_places
    }
    likeliest = max(event, key=lambda place: event[place], default=None)
    sizes = tuple(
        _sizes(moments, one, steps, likeliest, ways, weights, [row[number] for row in fits])
        for number, one in enumerate(witnesses)
    )
    return Separated(sizes, slope, event)


@dataclass(frozen=True)
class _Way:
    """One combination: with a slope or without, with an event at a place or with none."""

    slope: bool
    event: int | None


@dataclass(frozen=True, eq=False)
class _Fit:
    """Sizes in the order level, slope, steps, event; absent ones have mean and variance zero."""

    mean: Array
    variance: Array
    log_evidence: float


def _fit(moments: Array, witness: Witness, steps: Sequence[int], way: _Way) -> _Fit:
    values = np.array(witness.values)
    seen = np.isfinite(values)
    centre, spread = _priors(moments, witness, steps, way)
    scaled = _design(moments, steps, way.event)[seen] * spread
    left = values[seen] - _design(moments, steps, way.event)[seen] @ centre
    covariance = scaled @ scaled.T + witness.sigma**2 * np.eye(left.size)
    factor = np.linalg.cholesky(covariance)
    white = np.linalg.solve(factor, left)
    gain = np.linalg.solve(covariance, scaled).T
    variance = spread**2 * np.clip(1.0 - np.einsum("ij,ji->i", gain, scaled), 0.0, None)
    logarithm = -0.5 * float(white @ white) - float(np.log(np.diag(factor)).sum())
    return _Fit(centre + spread * (gain @ left), variance, logarithm)


def _design(moments: Array, steps: Sequence[int], event: int | None) -> Array:
    places = np.arange(moments.size)
    columns = [np.ones(moments.size), moments - moments.mean()]
    columns += [(places >= step).astype(float) for step in steps]
    columns.append(np.zeros(moments.size) if event is None else (places >= event).astype(float))
    return np.stack(columns, axis=1)


def _priors(moments: Array, witness: Witness, steps: Sequence[int], way: _Way) -> tuple[Array, Array]:
    """Middle and standard deviation of each size before the values are looked at."""
    predicted = [_expected(witness, number) for number in range(len(steps))]
    level = float(np.nanmean(witness.values))
    slope = witness.scale / float(np.ptp(moments)) if way.slope else 0.0
    event = witness.scale if way.event is not None else 0.0
    middle = [level, 0.0, *(one[0] for one in predicted), 0.0]
    spread = [LEVEL_SCALES * witness.scale, slope, *(one[1] for one in predicted), event]
    return np.array(middle), np.array(spread)


def _expected(witness: Witness, number: int) -> tuple[float, float]:
    """Middle and standard deviation of a declared step; without a prediction it may be any fault's size."""
    band = witness.predicted[number] if witness.predicted else None
    if band is None or band.low is None or band.high is None:
        return 0.0, witness.scale
    return 0.5 * (band.low + band.high), max((band.high - band.low) / (2.0 * NORMAL_95), TINY * witness.scale)


def _log_prior(way: _Way, places: int) -> float:
    slope = SLOPE_PRIOR if way.slope else 1.0 - SLOPE_PRIOR
    if not places:
        return float(np.log(slope))
    return float(np.log(slope * (EVENT_PRIOR / places if way.event is not None else 1.0 - EVENT_PRIOR)))


def _normalised(logarithms: Sequence[float]) -> Array:
    weights = np.exp(np.array(logarithms) - max(logarithms))
    return np.asarray(weights / weights.sum())


def _sizes(
    moments: Array,
    witness: Witness,
    steps: Sequence[int],
    event: int | None,
    ways: Sequence[_Way],
    weights: Array,
    fits: Sequence[_Fit],
) -> Sizes:
    """The sizes of one witness: a slope given that there is one, an event given its likeliest place."""
    sloping = np.array([way.slope for way in ways])
    there = np.array([event is not None and way.event == event for way in ways])
    everywhere = np.ones(len(ways), dtype=bool)
    best = max(range(len(ways)), key=lambda number: float(weights[number]))
    explained = _design(moments, steps, ways[best].event) @ fits[best].mean
    left = np.array(witness.values) - explained
    return Sizes(
        slope=_mixed(weights, fits, 1, sloping),
        steps=tuple(_mixed(weights, fits, 2 + number, everywhere) for number in range(len(steps))),
        event=_mixed(weights, fits, 2 + len(steps), there) if event is not None else Band.exact(0.0),
        unexplained=tuple(float(one) for one in left),
        chi_squared=float(np.nansum((left / witness.sigma) ** 2)),
    )


def _mixed(weights: Array, fits: Sequence[_Fit], number: int, of: NDArray[np.bool_]) -> Band:
    """The central 95 % of one size over the combinations chosen by `of`, and its median."""
    share = weights[of] / weights[of].sum()
    mean = np.array([fit.mean[number] for fit, kept in zip(fits, of, strict=True) if kept])
    deviation = np.sqrt([fit.variance[number] for fit, kept in zip(fits, of, strict=True) if kept])
    low, best, high = (_quantile(share, mean, deviation, part) for part in (0.025, 0.5, 0.975))
    return Band(low, best, high)


def _quantile(share: Array, mean: Array, deviation: Array, part: float) -> float:
    """Where a mixture of normal distributions reaches `part`, by halving."""
    low, high = float((mean - 9.0 * deviation).min()), float((mean + 9.0 * deviation).max())
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        reached = sum(
            float(weight) * NormalDist(float(one), max(float(width), TINY)).cdf(middle)
            for weight, one, width in zip(share, mean, deviation, strict=True)
        )
        low, high = (middle, high) if reached < part else (low, middle)
    return 0.5 * (low + high)


def _checked(
    times: Sequence[float], witnesses: Sequence[Witness], steps: Sequence[int], open_places: Sequence[int]
) -> Array:
    moments = np.asarray(times, dtype=float)
    check_finite(times=moments)
    if moments.size < FEWEST or np.any(np.diff(moments) <= 0.0):
        raise Unphysical(f"times must rise, {FEWEST} of them or more.")
    if not witnesses:
        raise Unphysical("witnesses must hold one series or more.")
    for one in witnesses:
        check_positive(sigma=one.sigma, scale=one.scale)
        if len(one.values) != moments.size or not np.isfinite(one.values).any():
            raise Unphysical("values must be as many as times, at least one of them known.")
        if one.predicted and len(one.predicted) != len(steps):
            raise Unphysical("predicted must be as many as steps.")
    if not all(0 < place < moments.size for place in (*steps, *open_places)):
        raise Unphysical("steps and open_places must lie between the first value and the last.")
    return moments
