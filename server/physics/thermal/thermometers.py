"""What reading a thermometer does to its reading."""

import math

from server.physics.arguments import check_not_negative, check_positive
from server.physics.errors import Unphysical


def self_heating_K(power_W: float, resistance_K_W: float) -> float:
    r"""How much warmer than its place a thermometer is, for being read.

    .. math:: \Delta T = P R_{th}

    Parameters
    ----------
    power_W : float
        Excitation power I² R, zero or above [W].
    resistance_K_W : float
        Thermal resistance between thermometer and place, above zero [K/W].

    Returns
    -------
    float
        Excess temperature [K].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Examples
    --------
    >>> self_heating_K(1e-7, 500.0)
    5e-05

    References
    ----------
    Ohm's law of heat; the resistance depends strongly on temperature and mounting.
    """
    check_not_negative(power_W=power_W)
    check_positive(resistance_K_W=resistance_K_W)
    return power_W * resistance_K_W


def largest_excitation_A(
    share: float, temperature_K: float, resistance_ohm: float, resistance_K_W: float
) -> float:
    r"""Current at which self-heating is a given share of the temperature.

    .. math:: I = \sqrt{\frac{x T}{R R_{th}}}

    Parameters
    ----------
    share : float
        Self-heating over temperature that is allowed, above zero [1].
    temperature_K : float
        Temperature of the place, above zero [K].
    resistance_ohm : float
        Electrical resistance of the thermometer there, above zero [Ω].
    resistance_K_W : float
        Thermal resistance between thermometer and place, above zero [K/W].

    Returns
    -------
    float
        Excitation current [A].

    Raises
    ------
    Unphysical
        When an argument is not above zero.

    Examples
    --------
    >>> largest_excitation_A(0.01, 4.2, 1000.0, 1000.0)
    2.049e-4

    References
    ----------
    A thermometer maker's application note on self-heating.
    """
    check_positive(share=share, temperature_K=temperature_K, resistance_ohm=resistance_ohm)
    check_positive(resistance_K_W=resistance_K_W)
    return math.sqrt(share * temperature_K / (resistance_ohm * resistance_K_W))


def unheated_K(first_K: float, first_W: float, second_K: float, second_W: float) -> float:
    r"""Temperature without self-heating, from readings at two excitation powers.

    .. math:: T_0 = \frac{T_1 P_2 - T_2 P_1}{P_2 - P_1}

    Parameters
    ----------
    first_K, second_K : float
        The two readings, above zero [K].
    first_W, second_W : float
        Excitation power at each, zero or above and not the same [W].

    Returns
    -------
    float
        Reading at no power [K].

    Raises
    ------
    Unphysical
        When an argument is out of its range, or the powers are the same.

    Examples
    --------
    >>> unheated_K(4.20008, 1e-7, 4.20032, 4e-7)
    4.20000

    References
    ----------
    A thermometer maker's application note on self-heating.
    """
    check_positive(first_K=first_K, second_K=second_K)
    check_not_negative(first_W=first_W, second_W=second_W)
    if first_W == second_W:
        raise Unphysical("second_W must differ from first_W.")
    return (first_K * second_W - second_K * first_W) / (second_W - first_W)
