"""When a limit of use will be reached, told from how fast a thing was used lately."""

import math
from collections.abc import Sequence
from itertools import pairwise

from server.physics.arguments import check_not_negative, check_positive
from server.physics.errors import Unphysical
from server.physics.statistics.bands import Band

TAIL = 0.025
"""What lies beyond each end of the central 95 %."""
FULL_TIME = 1.0 / 3600.0
"""No meter of hours adds more than one in an hour; here as hours a second."""


def time_to_limit_s(
    times_s: Sequence[float], readings: Sequence[float], limit: float, fastest: float = FULL_TIME
) -> Band | None:
    r"""How long after the last reading a meter will reach a limit.

    .. math::
        t = \frac{H - H_n}{b}, \qquad
        b = \frac{\sum (t_i - \bar t)(H_i - \bar H)}{\sum (t_i - \bar t)^2}

    The band follows from the standard error of the slope, by Student's law. Two readings have no such error:
    then the earliest moment is the one of running all the time, and there is no latest.

    Parameters
    ----------
    times_s : Sequence[float]
        When the meter was read, rising [s]
    readings : Sequence[float]
        What it had come to then, never falling [1]
    limit : float
        What it must not pass [1]
    fastest : float
        The most a second can add [1]

    Returns
    -------
    Band or None
        Time after the last reading [s]; zero when the limit is reached. None when nobody can say: fewer than
        two readings, or a meter that stood still.

    Raises
    ------
    Unphysical
        For readings that fall, or times that do not rise.

    Examples
    --------
    >>> times_s = [86400.0 * day for day in (0, 7, 14, 28)]
    >>> found = time_to_limit_s(times_s, (18000.0, 18120.0, 18245.0, 18480.0), 20000.0)
    >>> round(28.0 + found.best / 86400.0, 1)
    116.6

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 4.1.4.1, linear least squares.
    """
    check_positive(fastest=fastest)
    _check_order(times_s, readings)
    if readings and readings[-1] >= limit:
        return Band.exact(0.0)
    if len(times_s) < 2 or readings[-1] == readings[0]:
        return None
    left, (slope, error) = limit - readings[-1], _slope(times_s, readings)
    slope = min(slope, fastest)
    if len(times_s) == 2:
        return Band(left / fastest, left / slope, None)
    from scipy.special import stdtrit  # noqa: PLC0415  (the balance shares this face and does without)

    off = float(stdtrit(len(times_s) - 2, 1.0 - TAIL)) * error
    low = min(left / min(slope + off, fastest), left / slope)
    return Band(low, left / slope, left / (slope - off) if slope > off else None)


def time_to_count_s(count: int, watched_s: float, left: float) -> Band | None:
    r"""In what time a thing that happens now and then will have happened so many more times.

    .. math::
        \lambda_{low} = \frac{\gamma^{-1}(n, 0.025)}{T}, \qquad
        \lambda_{high} = \frac{\gamma^{-1}(n+1, 0.975)}{T}

    with the inverse of the regularised incomplete gamma function: the exact limits of a Poisson rate.

    Parameters
    ----------
    count : int
        How often it happened while it was watched [1]
    watched_s : float
        For how long [s]
    left : float
        How many more times are allowed [1]

    Returns
    -------
    Band or None
        Time from now [s]; zero when none is left. Without a best and a latest where it never happened.
        None where nothing was watched.

    Raises
    ------
    Unphysical
        For a count or a time below zero.

    Examples
    --------
    >>> round(time_to_count_s(8, 56.0 * 86400.0, 4.0).best / 86400.0, 1)
    28.0

    References
    ----------
    Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936) 437.
    """
    check_not_negative(count=float(count), watched_s=watched_s)
    if left <= 0.0:
        return Band.exact(0.0)
    if watched_s == 0.0:
        return None
    from scipy.special import gammaincinv  # noqa: PLC0415  (the balance shares this face and does without)

    fast = float(gammaincinv(count + 1, 1.0 - TAIL)) / watched_s
    if count == 0:
        return Band.more_than(left / fast)
    slow = float(gammaincinv(count, TAIL)) / watched_s
    return Band(left / fast, left * watched_s / count, left / slow)


def _slope(times_s: Sequence[float], readings: Sequence[float]) -> tuple[float, float]:
    """The slope by least squares, and its standard error (zero for two points)."""
    count = len(times_s)
    day, reading = math.fsum(times_s) / count, math.fsum(readings) / count
    spread = math.fsum((at - day) ** 2 for at in times_s)
    slope = (
        math.fsum((at - day) * (had - reading) for at, had in zip(times_s, readings, strict=True)) / spread
    )
    if count == 2:
        return slope, 0.0
    rest = math.fsum(
        (had - reading - slope * (at - day)) ** 2 for at, had in zip(times_s, readings, strict=True)
    )
    return slope, math.sqrt(rest / (count - 2) / spread)


def _check_order(times_s: Sequence[float], readings: Sequence[float]) -> None:
    if len(times_s) != len(readings):
        raise Unphysical("Each reading needs its time.")
    for before, after in pairwise(times_s):
        if after <= before:
            raise Unphysical("The times of readings rise.")
    for before, after in pairwise(readings):
        if after < before:
            raise Unphysical("A meter does not fall.")
