"""Control charts: the exponentially weighted moving average, and cumulative sums."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.physics.arguments import check_finite, check_fraction, check_not_negative, check_positive
from server.physics.errors import Unphysical

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MovingAverage:
    """An EWMA chart: the average after each value, its limits there, and the places where it is outside."""

    average: Array
    lower: Array
    upper: Array
    outside: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class CumulativeSums:
    """A CUSUM chart: the sums above and below the target, and the places where either passes the limit."""

    above: Array
    below: Array
    limit: float
    outside: tuple[int, ...]


def moving_average(
    values: Array,
    target: float,
    sigma: float,
    weight: float = 0.3,
    limit_sigmas: float = 3.0,
    *,
    settled: bool = False,
) -> MovingAverage:
    """The exponentially weighted moving average of a series, with its limits.

    Parameters
    ----------
    values : array
        [1] the series, in any unit.
    target : float
        [1] what it ought to be, in the unit of the values.
    sigma : float
        [1] standard deviation of one value, in the same unit.
    weight : float
        [1] of the newest value, above 0 and at most 1; 0.2 to 0.3 is usual.
    limit_sigmas : float
        [1] how many standard deviations of the average the limits lie away.
    settled : bool
        True: the limits of a long series everywhere; False: the narrower ones of the first values.

    Returns
    -------
    MovingAverage
        One average and one pair of limits a value; `outside` counts from 0.

    Raises
    ------
    Unphysical
        When a value is not a number, sigma is not above zero, or the weight is out of range.

    Examples
    --------
    >>> import numpy as np
    >>> chart = moving_average(np.array([52.0, 47.0, 53.0]), 50.0, 2.0539, settled=True)
    >>> [round(float(z), 2) for z in chart.average]
    [50.6, 49.52, 50.56]

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4; narrower first limits: Montgomery,
    Introduction to Statistical Quality Control.
    """
    series = _series(values)
    check_positive(sigma=sigma, limit_sigmas=limit_sigmas)
    check_fraction(weight=weight)
    check_finite(target=target)
    average = np.empty(series.size)
    held = target
    for place, value in enumerate(series):
        held = weight * float(value) + (1.0 - weight) * held
        average[place] = held
    grown = 1.0 if settled else 1.0 - (1.0 - weight) ** (2.0 * np.arange(1, series.size + 1))
    half = limit_sigmas * sigma * np.sqrt(weight / (2.0 - weight) * grown) * np.ones(series.size)
    lower, upper = target - half, target + half
    return MovingAverage(average, lower, upper, _places((average < lower) | (average > upper)))


def cumulative_sums(
    values: Array, target: float, sigma: float, slack_sigmas: float = 0.5, limit_sigmas: float = 5.0
) -> CumulativeSums:
    """Two one-sided cumulative sums of a series.

    Parameters
    ----------
    values : array
        [1] the series, in any unit.
    target : float
        [1] what it ought to be, in the unit of the values.
    sigma : float
        [1] standard deviation of one value, in the same unit.
    slack_sigmas : float
        [1] deviation let pass at each value; half of the shift that is looked for.
    limit_sigmas : float
        [1] sum at which the chart speaks; 4 speaks falsely once in 168 values, 5 once in 465.

    Returns
    -------
    CumulativeSums
        In the unit of the values; `outside` counts from 0.

    Raises
    ------
    Unphysical
        When a value is not a number, sigma is not above zero, or a limit is out of range.

    Examples
    --------
    >>> import numpy as np
    >>> cumulative_sums(np.array([0.0, 2.0, 3.0, 3.0]), 0.0, 1.0).outside
    (3,)

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3; run lengths: Montgomery, Introduction
    to Statistical Quality Control (from memory), and Siegmund's approximation.
    """
    series = _series(values)
    check_positive(sigma=sigma, limit_sigmas=limit_sigmas)
    check_not_negative(slack_sigmas=slack_sigmas)
    check_finite(target=target)
    slack, limit = slack_sigmas * sigma, limit_sigmas * sigma
    above, below = _summed(series - target - slack), _summed(target - slack - series)
    return CumulativeSums(above, below, limit, _places((above > limit) | (below > limit)))


def weight_for_gap(gap_s: float, memory_s: float) -> float:
    """The weight of a value that comes `gap_s` after the one before it.

    Parameters
    ----------
    gap_s : float
        [s] time since the last value.
    memory_s : float
        [s] time in which an old value fades to 1/e.

    Returns
    -------
    float
        [1] weight, for `moving_average`.

    Raises
    ------
    Unphysical
        When either is not above zero.

    Examples
    --------
    >>> round(weight_for_gap(0.1, 1.0), 5)
    0.09516

    References
    ----------
    A first-order low pass sampled at uneven times.
    """
    check_positive(gap_s=gap_s, memory_s=memory_s)
    return float(-np.expm1(-gap_s / memory_s))


def _series(values: Array) -> Array:
    series = np.asarray(values, dtype=float)
    if series.ndim != 1:
        raise Unphysical("values must be one row of numbers.")
    check_finite(values=series)
    return series


def _summed(steps: Array) -> Array:
    sums, held = np.empty(steps.size), 0.0
    for place, step in enumerate(steps):
        held = max(0.0, held + float(step))
        sums[place] = held
    return sums


def _places(outside: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(place) for place in np.flatnonzero(outside))
