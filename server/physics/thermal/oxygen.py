"""What gas let into a room does to its share of oxygen. Arithmetic for a safety officer; no permission."""

import math

from server.physics.arguments import check_not_negative, check_positive

AIR = 0.209
"""Share of oxygen in dry air by volume, rounded to the lower side; some tables reckon with 0.21."""


def oxygen_after_release(volume_m3: float, release_m3: float, air: float = AIR) -> float:
    """Share of oxygen after a sudden release that pushes as much air out as gas comes in.

    C = C0 (V - Vg) / V, and 0 where the gas fills the whole room.

    Parameters
    ----------
    volume_m3 : float
        Air volume of the room [m3], > 0.
    release_m3 : float
        Volume of the gas at room temperature and pressure [m3], >= 0.
    air : float
        Share of oxygen before [1].

    Returns
    -------
    float
        Share of oxygen after [1].

    Raises
    ------
    BadArgument
        If a volume is out of range.

    Examples
    --------
    >>> round(oxygen_after_release(30.0, 10.0, air=0.21), 3)
    0.14

    References
    ----------
    The balance of oxygen, with the air of the room pushed out unmixed; cases in tests/physics/thermal.
    """
    check_positive(volume_m3=volume_m3)
    check_not_negative(release_m3=release_m3)
    return air * max(0.0, 1.0 - release_m3 / volume_m3)


def oxygen_in_flow(
    volume_m3: float, rate_m3_s: float, air_changes_per_h: float, duration_s: float, air: float = AIR
) -> float:
    """Share of oxygen after gas has run into a well mixed room whose air is drawn off by a fan.

    With Q = V n / 3600 drawn off and R let in, C = C0 [1 - (R/Q)(1 - exp(-Q t / V))] while Q > R, else
    C = C0 exp(-R t / V). Gas that is colder than the air lies on the floor, where there is less oxygen.

    Parameters
    ----------
    volume_m3 : float
        Air volume of the room [m3], > 0.
    rate_m3_s : float
        Gas let in [m3/s], >= 0.
    air_changes_per_h : float
        Room volumes drawn off in an hour [1/h], >= 0.
    duration_s : float
        How long it runs [s], >= 0.
    air : float
        Share of oxygen before [1].

    Returns
    -------
    float
        Share of oxygen after [1].

    Raises
    ------
    BadArgument
        If an argument is out of range.

    Examples
    --------
    >>> round(oxygen_in_flow(50.0, 0.6 / 3600, 0.0, 8 * 3600.0, air=0.21), 4)
    0.1908

    References
    ----------
    The balance of oxygen of a well mixed room with an exhaust fan; cases in tests/physics/thermal.
    """
    check_positive(volume_m3=volume_m3)
    check_not_negative(rate_m3_s=rate_m3_s, air_changes_per_h=air_changes_per_h, duration_s=duration_s)
    drawn_m3_s = volume_m3 * air_changes_per_h / 3600.0
    if drawn_m3_s > rate_m3_s:
        reached = 1.0 - math.exp(-drawn_m3_s * duration_s / volume_m3)
        return air * (1.0 - rate_m3_s / drawn_m3_s * reached)
    return air * math.exp(-rate_m3_s * duration_s / volume_m3)
