"""Heat by radiation: black and grey bodies, enclosures, floating shields, bands of the spectrum.

Surfaces are grey and diffuse: one emissivity for each at its temperature, no mirror-like reflection. What is
sorted by wavelength (windows) is in `windows`; what a surface emits is in `surfaces`.
"""

import math
from typing import overload

import numpy as np

from server.physics.arguments import (
    Value,
    check_fraction,
    check_not_negative,
    check_positive,
    in_kind,
)
from server.physics.errors import Unphysical
from server.physics.materials.arrays import Array

STEFAN_BOLTZMANN_W_m2_K4 = 5.670374419e-8
"""Stefan-Boltzmann constant σ, exact to the digits given (CODATA 2018; SI of 2019)."""

SECOND_RADIATION_m_K = 1.438776877e-2
"""Second radiation constant c2 = h c/k (CODATA 2018; SI of 2019)."""

_TERMS = np.arange(1.0, 16.0)
_SPLIT = 2.0
"""Where the two series of the band fraction meet, in x = c2/(λT): both are good to 1e-10 there."""

# Coefficients of the integral of t³/(eᵗ − 1) in powers of x: B(2k)/((2k + 3)(2k)!), k = 1 to 10.
_NUMERATORS = (1, -1, 1, -1, 5, -691, 7, -3617, 43867, -174611)
_DENOMINATORS = (6, 30, 42, 30, 66, 2730, 6, 510, 798, 330)
_EVEN = tuple(
    above / below / ((2 * k + 3) * math.factorial(2 * k))
    for k, (above, below) in enumerate(zip(_NUMERATORS, _DENOMINATORS, strict=True), start=1)
)


@overload
def emissive_power_W_m2(temperature_K: float) -> float: ...
@overload
def emissive_power_W_m2(temperature_K: Array) -> Array: ...
def emissive_power_W_m2(temperature_K: Value) -> Value:
    r"""What a black body radiates from each square metre.

    .. math:: q = \sigma T^4

    Parameters
    ----------
    temperature_K : float or array
        Temperature of the surface, zero or above [K].

    Returns
    -------
    float or array
        Heat flux into the half space, of the shape given [W/m²].

    Raises
    ------
    Unphysical
        When a temperature is negative or not a number.

    Examples
    --------
    >>> emissive_power_W_m2(300.0)
    459.300

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer, chapter 1.
    """
    check_not_negative(temperature_K=temperature_K)
    return STEFAN_BOLTZMANN_W_m2_K4 * temperature_K**4


@overload
def blackbody_fraction(wavelength_m: float, temperature_K: float) -> float: ...
@overload
def blackbody_fraction(wavelength_m: Value, temperature_K: Value) -> Value: ...
def blackbody_fraction(wavelength_m: Value, temperature_K: Value) -> Value:
    r"""Share of a black body's radiation at wavelengths from zero to `wavelength_m`.

    .. math:: F = \frac{15}{\pi^4} \int_x^\infty \frac{t^3}{e^t - 1}\,dt, \quad x = \frac{c_2}{\lambda T}

    Parameters
    ----------
    wavelength_m : float or array
        Longest wavelength counted, zero or above, infinity allowed [m].
    temperature_K : float or array
        Temperature of the black body, above zero [K]. Arrays are matched by the rules of numpy.

    Returns
    -------
    float or array
        Between 0 and 1, good to 1e-8 [1].

    Raises
    ------
    Unphysical
        When a wavelength is negative, a temperature is not above zero, or either is not a number.

    Notes
    -----
    The sum of exponentials for x of 2 and above, the power series with Bernoulli's numbers below.

    Examples
    --------
    >>> blackbody_fraction(2898e-6 / 300.0, 300.0)
    0.250106
    >>> blackbody_fraction(4.0e-6, 300.0)
    0.00213

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer, appendix of band fractions.
    """
    check_positive(temperature_K=temperature_K)
    if not np.all(np.asarray(wavelength_m) >= 0.0):
        raise Unphysical("wavelength_m must be zero or above.")
    reach = np.asarray(wavelength_m, dtype=float) * np.asarray(temperature_K, dtype=float)
    with np.errstate(divide="ignore"):
        x = np.minimum(SECOND_RADIATION_m_K / reach, 800.0)
    below, above = _long_share(np.minimum(x, _SPLIT)), _short_share(np.maximum(x, _SPLIT))
    return in_kind(np.where(x < _SPLIT, 1.0 - below, above))


def _short_share(x: Array) -> Array:
    """The fraction as a sum of exponentials, for x of `_SPLIT` and above."""
    n, x = _TERMS, x[..., None]
    terms = np.exp(-n * x) / n * (x**3 + 3.0 * x**2 / n + 6.0 * x / n**2 + 6.0 / n**3)
    return np.asarray(15.0 / math.pi**4 * terms.sum(axis=-1))


def _long_share(x: Array) -> Array:
    """One minus the fraction as a power series, for x below `_SPLIT`."""
    series = 1.0 / 3.0 - x / 8.0 + sum(c * x ** (2 * k) for k, c in enumerate(_EVEN, start=1))
    return np.asarray(15.0 / math.pi**4 * x**3 * series)


@overload
def grey_exchange_factor(
    cold_emissivity: float, hot_emissivity: float, cold_area_m2: float, hot_area_m2: float
) -> float: ...
@overload
def grey_exchange_factor(
    cold_emissivity: Value,
    hot_emissivity: Value,
    cold_area_m2: Value,
    hot_area_m2: Value,
) -> Value: ...
def grey_exchange_factor(
    cold_emissivity: Value,
    hot_emissivity: Value,
    cold_area_m2: Value,
    hot_area_m2: Value,
) -> Value:
    r"""Effective emissivity between a body and what surrounds it, to be used with the cold area.

    .. math:: E = \frac{1}{A_c} \left[ \frac{1-e_c}{e_c A_c} + \frac{1}{\min(A_c, A_h)}
              + \frac{1-e_h}{e_h A_h} \right]^{-1}

    so that Q = E A_c σ (T_h⁴ − T_c⁴). For equal areas these are parallel plates; for a cold body inside a
    hot enclosure the middle term is 1/A_c.

    Parameters
    ----------
    cold_emissivity, hot_emissivity : float or array
        Emissivity of each surface, above 0 and at most 1 [1].
    cold_area_m2, hot_area_m2 : float or array
        Area of each surface; the smaller one is inside and sees only the other [m²].

    Returns
    -------
    float or array
        Effective emissivity E for the cold area [1].

    Raises
    ------
    Unphysical
        When an emissivity is not above 0 and at most 1, or an area is not above zero.

    Notes
    -----
    Diffuse surfaces. Bright surfaces reflect more like mirrors; the exchange then nears that of parallel
    plates, whatever the areas.

    Examples
    --------
    >>> grey_exchange_factor(0.1, 0.1, 1.0, 1.0)
    0.05263
    >>> grey_exchange_factor(0.05, 0.9, 0.05, 0.2)
    0.04993

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer, chapter on enclosures of grey diffuse surfaces.
    """
    check_fraction(cold_emissivity=cold_emissivity, hot_emissivity=hot_emissivity)
    check_positive(cold_area_m2=cold_area_m2, hot_area_m2=hot_area_m2)
    inner_m2 = np.minimum(cold_area_m2, hot_area_m2)
    surface = (1.0 - cold_emissivity) / cold_emissivity + cold_area_m2 / inner_m2
    return in_kind(1.0 / (surface + cold_area_m2 / hot_area_m2 * (1.0 - hot_emissivity) / hot_emissivity))


def shield_exchange_factor(
    cold_emissivity: float, hot_emissivity: float, shield_emissivity: float, shields: int
) -> float:
    r"""Effective emissivity between two parallel plates with floating shields between them.

    .. math:: E = \left[ \frac{1}{e_c} + \frac{1}{e_h} - 1 + N \left(\frac{2}{e_s} - 1\right) \right]^{-1}

    Parameters
    ----------
    cold_emissivity, hot_emissivity : float
        Emissivity of the two plates, above 0 and at most 1 [1].
    shield_emissivity : float
        Emissivity of both faces of each shield, above 0 and at most 1 [1].
    shields : int
        How many shields touch nothing: zero or more [1].

    Returns
    -------
    float
        Effective emissivity [1].

    Raises
    ------
    Unphysical
        When an emissivity or the number of shields is not possible.

    Notes
    -----
    A shield that is cooled or that touches is no floating shield. With all emissivities alike, N shields
    pass 1/(N + 1) of what none would.

    Examples
    --------
    >>> shield_exchange_factor(0.1, 0.1, 0.1, 1) / shield_exchange_factor(0.1, 0.1, 0.1, 0)
    0.5

    References
    ----------
    R. F. Barron, G. F. Nellis, Cryogenic Heat Transfer, 2nd edition, chapter on radiation.
    """
    plates = {"cold_emissivity": cold_emissivity, "hot_emissivity": hot_emissivity}
    check_fraction(**plates, shield_emissivity=shield_emissivity)
    check_not_negative(shields=shields)
    bare = 1.0 / cold_emissivity + 1.0 / hot_emissivity - 1.0
    return 1.0 / (bare + shields * (2.0 / shield_emissivity - 1.0))


@overload
def radiated_W(exchange_factor: float, area_m2: float, cold_K: float, hot_K: float) -> float: ...
@overload
def radiated_W(exchange_factor: Value, area_m2: Value, cold_K: Value, hot_K: Value) -> Value: ...
def radiated_W(exchange_factor: Value, area_m2: Value, cold_K: Value, hot_K: Value) -> Value:
    r"""Heat radiated from a hot surface to a cold one.

    .. math:: Q = E A \sigma (T_h^4 - T_c^4)

    Parameters
    ----------
    exchange_factor : float or array
        Effective emissivity between the two, times the view factor if one does not see only the other;
        above 0 and at most 1 [1].
    area_m2 : float or array
        The area the factor belongs to, above zero [m²].
    cold_K, hot_K : float or array
        The two temperatures, zero or above [K].

    Returns
    -------
    float or array
        Heat into the cold surface, negative if it is the hotter one [W].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Examples
    --------
    >>> radiated_W(grey_exchange_factor(0.1, 0.1, 1.0, 1.0), 1.0, 77.0, 300.0)
    24.069

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer, chapter on enclosures of grey diffuse surfaces.
    """
    check_fraction(exchange_factor=exchange_factor)
    check_positive(area_m2=area_m2)
    check_not_negative(cold_K=cold_K, hot_K=hot_K)
    return exchange_factor * area_m2 * STEFAN_BOLTZMANN_W_m2_K4 * (hot_K**4 - cold_K**4)
