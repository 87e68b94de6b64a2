"""How much to keep so that a stock lasts until a delivery comes, and when it will run out.

Amounts are in whatever unit the stock is counted in, times in whatever period the demand is told for: only
their ratio matters.
"""

import math

from scipy.special import fdtri, ndtri, pdtr

from server.physics.arguments import check_finite, check_not_negative, check_positive
from server.physics.errors import Unphysical
from server.physics.statistics.bands import Band

SLOWEST_FAST = 10.0
"""From how many takings in a lead time on the normal law serves. Common practice, no source."""
MOST_STEPS = 10_000


def lead_time_demand(
    demand: float, spread: float, periods: float, periods_spread: float = 0.0
) -> tuple[float, float]:
    r"""Mean and standard deviation of what is asked for while a delivery is under way.

    .. math:: m = d L, \qquad \sigma^2 = L \sigma_d^2 + d^2 \sigma_L^2

    Parameters
    ----------
    demand : float
        Mean demand of one period [1]
    spread : float
        Its standard deviation, periods being independent [1]
    periods : float
        Lead time in the same periods [1]
    periods_spread : float
        Its standard deviation [1]

    Returns
    -------
    tuple[float, float]
        Mean and standard deviation of the demand over the lead time [1]

    Raises
    ------
    Unphysical
        For a number below zero.

    Examples
    --------
    >>> lead_time_demand(50.0, 3.0, 2.0)
    (100.0, 4.24)

    References
    ----------
    Stevenson, W. J., *Operations Management*, chapter on inventory management, reorder points.
    """
    check_not_negative(demand=demand, spread=spread, periods=periods, periods_spread=periods_spread)
    return demand * periods, math.sqrt(periods * spread**2 + (demand * periods_spread) ** 2)


def normal_reorder_point(mean: float, spread: float, service: float) -> float:
    r"""The stock at which to order, for what is taken often: the demand is normal.

    .. math:: r = m + z \sigma

    Parameters
    ----------
    mean : float
        Mean demand over the lead time [1]
    spread : float
        Its standard deviation [1]
    service : float
        Probability that the stock lasts until the delivery, above 0 and below 1 [1]

    Returns
    -------
    float
        The stock at or below which to order; never less than nothing [1]

    Raises
    ------
    Unphysical
        For a number below zero, or a probability that is none.

    Examples
    --------
    >>> normal_reorder_point(50.0, 5.0, 0.97)
    59.40

    References
    ----------
    Stevenson, W. J., *Operations Management*, chapter on inventory management, example 8.
    """
    check_not_negative(mean=mean, spread=spread)
    _check_service(service)
    return max(0.0, mean + float(ndtri(service)) * spread)


def poisson_reorder_point(mean: float, service: float) -> int:
    """The stock at which to order, for what is taken seldom and by the piece.

    The smallest whole number r of which a Poisson demand stays at or below with probability `service`. The
    normal law is wrong here: at a mean of 1 and 95 % it says 2.64 where 3 are needed.

    Parameters
    ----------
    mean : float
        Mean demand over the lead time, in pieces [1]
    service : float
        Probability that the stock lasts until the delivery, above 0 and below 1 [1]

    Returns
    -------
    int
        The stock at or below which to order, in pieces [1]

    Raises
    ------
    Unphysical
        For a number below zero, a mean too large to count up to, or a probability that is none.

    Examples
    --------
    >>> [poisson_reorder_point(mean, 0.95) for mean in (0.5, 1.0, 2.0, 3.0, 5.0, 6.0)]
    [2, 3, 5, 6, 9, 10]

    References
    ----------
    Abramowitz, M. and Stegun, I. A., *Handbook of Mathematical Functions*, 26.4.21 and table 26.7.
    """
    check_not_negative(mean=mean)
    _check_service(service)
    if mean > MOST_STEPS:
        raise Unphysical("mean is too large to be counted by pieces.")
    least = 0
    while float(pdtr(least, mean)) < service:
        least += 1
    return least


def reorder_point(mean: float, square_mean: float, service: float) -> float:
    r"""The stock at which to order, whatever the size of the takings.

    Takings that come by chance make a compound Poisson demand with mean m and variance v, the sum of the
    squares of the takings. It has the mean and the spread of one that is taken in equal steps of v/m. Where
    fewer than `SLOWEST_FAST` of them fall into a lead time they are counted one by one, else the normal law
    serves.

    Parameters
    ----------
    mean : float
        Mean demand over the lead time [1]
    square_mean : float
        Mean over the lead time of the sum of the squares of the takings [1]
    service : float
        Probability that the stock lasts until the delivery, above 0 and below 1 [1]

    Returns
    -------
    float
        The stock at or below which to order [1]

    Raises
    ------
    Unphysical
        For a number below zero, or a probability that is none.

    Examples
    --------
    >>> reorder_point(1.0, 1.0, 0.95)
    3.0
    >>> reorder_point(0.4, 0.16, 0.95)
    1.2

    References
    ----------
    Feller, W., *An Introduction to Probability Theory and its Applications*, volume 1, XII.2: compound
    Poisson distributions.
    """
    check_not_negative(mean=mean, square_mean=square_mean)
    _check_service(service)
    if mean == 0.0 or square_mean == 0.0:
        return mean
    step = square_mean / mean
    if mean / step < SLOWEST_FAST:
        return poisson_reorder_point(mean / step, service) * step
    return normal_reorder_point(mean, math.sqrt(square_mean), service)


def run_out(stock: float, taken: float, square_taken: float, periods: float) -> Band | None:
    r"""In how many periods a stock is gone, from what was taken of it so far.

    In equal steps of s (see `reorder_point`) n = taken/s were taken in the time T, and N = stock/s are left.
    The rate being known from those n only, the time of the N-th taking over T follows, with the prior of
    Jeffreys, N/(n + 1/2) times the distribution of Fisher with 2N and 2n + 1 degrees of freedom.

    Parameters
    ----------
    stock : float
        What is left [1]
    taken : float
        What was taken in `periods` [1]
    square_taken : float
        The sum of the squares of those takings [1]
    periods : float
        For how long that was looked at [1]

    Returns
    -------
    Band or None
        Periods until nothing is left, with the central 95 % [1]; None where nothing was taken.

    Raises
    ------
    Unphysical
        For a number below zero, or no time looked at.

    Examples
    --------
    >>> run_out(18.0, 18.0, 7.2, 1.0)
    Band(low=0.6..., best=1.0, high=1.5...)

    References
    ----------
    Gelman, A. and others, *Bayesian Data Analysis*, 3rd edition, 2.6 and 2.8: Poisson rate, Jeffreys' prior.
    """
    check_not_negative(taken=taken, square_taken=square_taken)
    check_finite(stock=stock)
    check_positive(periods=periods)
    if taken == 0.0 or square_taken == 0.0:
        return None
    if stock <= 0.0:
        return Band.exact(0.0)
    step = square_taken / taken
    left, seen = stock / step, taken / step
    scale = periods * left / (seen + 0.5)
    low, high = (scale * float(fdtri(2.0 * left, 2.0 * seen + 1.0, share)) for share in (0.025, 0.975))
    best = stock / taken * periods
    return Band(min(low, best), best, max(high, best))


def _check_service(service: float) -> None:
    if not 0.0 < service < 1.0:
        raise Unphysical("service must be above 0 and below 1.")
