"""Radiation through what is open: holes, bores, pipes, a lid that is off.

No simple sum tells where such heat lands or how much of it stays. What is given here are honest limits: a
range where the mouth of the opening bounds it, *more than* where nothing does.
"""

import math

from server.physics.arguments import check_not_negative, check_positive
from server.physics.statistics import Band
from server.physics.thermal.radiation import emissive_power_W_m2
from server.physics.thermal.view import disc_view_factor

STAYS_AT_LEAST = 0.2
"""Share of what enters a hole that stays inside, at least: common practice, no source."""

ABSORBED_AT_LEAST = 0.1
"""Share that bright cold metal keeps of what falls on it through an open lid: common practice, no source."""


def hole_W(area_m2: float, hot_K: float, cold_K: float) -> Band:
    r"""Heat through a clear hole or a bored lid into a colder space.

    .. math:: Q \le A \sigma (T_h^4 - T_c^4)

    Parameters
    ----------
    area_m2 : float
        Clear area, above zero [m²].
    hot_K, cold_K : float
        Temperature in front of the hole and behind it, zero or above [K].

    Returns
    -------
    Band
        From a fifth of what falls on the hole to all of it, with no best value [W].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    The upper end holds for any hole, whatever stands behind it. How much is reflected out again depends on
    what the hole faces.

    Examples
    --------
    >>> hole_W(4.9087e-4, 300.0, 4.0).high
    0.2255

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer: a small opening of a large cavity is black.
    """
    check_positive(area_m2=area_m2)
    falls_W = area_m2 * (emissive_power_W_m2(hot_K) - emissive_power_W_m2(cold_K))
    ends = sorted((STAYS_AT_LEAST * falls_W, falls_W))
    return Band.between(ends[0], ends[1])


def pipe_W(diameter_m: float, length_m: float, hot_K: float) -> Band:
    r"""Heat down a straight pipe, or a bore deeper than it is wide, onto its cold end.

    .. math:: a F_{12} A \sigma T_h^4 \le Q \le A \sigma T_h^4

    Parameters
    ----------
    diameter_m : float
        Inner diameter, above zero [m].
    length_m : float
        Length, above zero [m].
    hot_K : float
        Temperature in front of the pipe, zero or above [K].

    Returns
    -------
    Band
        From what flies straight through and is absorbed, to all that enters the mouth [W].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    A bright wall carries nearly all of what enters to the end: a published test found about a thousand times
    the straight-line figure. Blacken or baffle the pipe, or count the upper end.

    Examples
    --------
    >>> band = pipe_W(0.025, 0.5, 300.0)
    >>> band.high
    0.2255
    >>> band.low < 0.001 * band.high
    True

    References
    ----------
    A cryostat test report on radiation down shield pipes, as quoted; the lower end is common practice, no
    source.
    """
    check_positive(diameter_m=diameter_m, length_m=length_m)
    mouth_W = math.pi / 4.0 * diameter_m**2 * emissive_power_W_m2(hot_K)
    straight = disc_view_factor(diameter_m / 2.0, diameter_m / 2.0, length_m)
    return Band.between(STAYS_AT_LEAST * straight * mouth_W, mouth_W)


def lid_off_W(opening_m2: float, hot_K: float, cold_K: float) -> Band:
    r"""Heat past a shield whose lid is off: more than this, and nobody can say better.

    .. math:: Q > 0.1\,A \sigma (T_h^4 - T_c^4)

    Parameters
    ----------
    opening_m2 : float
        Area of the opening, above zero [m²].
    hot_K, cold_K : float
        Temperature of the vessel and of what the opening shows it, zero or above [K].

    Returns
    -------
    Band
        *More than*: only the lower end is known [W].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    Bright cold metal keeps 10 to 30 per cent, tape and printed board nearly all; what a warm objective sees
    is worse again. No simple sum is good to a factor of three.

    Examples
    --------
    >>> lid_off_W(0.00636, 300.0, 4.0)
    Band(low=0.292, best=None, high=None)

    References
    ----------
    Common practice, no source.
    """
    check_positive(opening_m2=opening_m2)
    check_not_negative(hot_K=hot_K, cold_K=cold_K)
    falls_W = opening_m2 * (emissive_power_W_m2(hot_K) - emissive_power_W_m2(cold_K))
    return Band.more_than(ABSORBED_AT_LEAST * falls_W)
