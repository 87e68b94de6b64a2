"""Heat carried by what gas is left: free molecules, continuum, and the stretch between."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, overload

import numpy as np

from server.physics.arguments import Value, check_fraction, check_not_negative, check_positive, in_kind
from server.physics.errors import UnknownMaterial
from server.physics.materials.arrays import Array
from server.physics.statistics import Band

MOLAR_GAS_J_mol_K = 8.31446261815324
"""Molar gas constant R (CODATA 2018; SI of 2019)."""

_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class GasConstants:
    """A gas and what the laws of this module need of it.

    Attributes
    ----------
    name : str
        One of `gases()`.
    molar_mass_kg_mol : float
        Mass of a mole [kg/mol].
    heat_capacity_ratio : float
        Heat capacity at constant pressure over that at constant volume [1].
    freezes_K : (float, float) or None
        Below the first temperature nothing of it is left in a vacuum, above the second all of it; None for
        helium, which never freezes out [K].
    """

    name: str
    molar_mass_kg_mol: float
    heat_capacity_ratio: float
    freezes_K: tuple[float, float] | None


def gases() -> tuple[str, ...]:
    """The gases this module knows.

    Returns
    -------
    tuple of str
        Their names.

    Examples
    --------
    >>> gases()
    ('helium', 'hydrogen', 'neon', 'nitrogen', 'air', 'argon', 'water')
    """
    return tuple(_data()["gases"])


def gas_named(name: str) -> GasConstants:
    """The constants of a gas.

    Parameters
    ----------
    name : str
        One of `gases()`.

    Returns
    -------
    GasConstants
        Its molar mass, ratio of heat capacities and freezing range.

    Raises
    ------
    UnknownMaterial
        When there is no gas of that name here.

    Examples
    --------
    >>> gas_named("helium").freezes_K is None
    True

    References
    ----------
    Molar masses: IUPAC standard atomic weights. Freezing ranges: from memory.
    """
    entry = _entry(name)
    span = entry["freezes_K"]
    freezes_K = None if span is None else (float(span[0]), float(span[1]))
    return GasConstants(name, entry["molar_mass_kg_mol"], entry["heat_capacity_ratio"], freezes_K)


@overload
def free_molecular_conductance_W_m2_K_Pa(gas: str, gauge_K: float) -> float: ...
@overload
def free_molecular_conductance_W_m2_K_Pa(gas: str, gauge_K: Array) -> Array: ...
def free_molecular_conductance_W_m2_K_Pa(gas: str, gauge_K: Value) -> Value:
    r"""Heat that free molecules carry, per area, kelvin and pascal, with accommodation 1.

    .. math:: G = \frac{\gamma + 1}{\gamma - 1} \sqrt{\frac{R}{8 \pi M T}}

    so that Q = F_a G p A (T_h − T_c), with the pressure p and the temperature T both *at the gauge*.

    Parameters
    ----------
    gas : str
        One of `gases()`.
    gauge_K : float or array
        Temperature at the gauge that reads the pressure, usually the room's, above zero [K].

    Returns
    -------
    float or array
        G, of the shape given [W/(m² K Pa)].

    Raises
    ------
    UnknownMaterial
        When there is no gas of that name here.
    Unphysical
        When the temperature is not above zero.

    Notes
    -----
    Holds where a molecule flies from wall to wall: mean free path longer than the gap (`knudsen_number`
    above 1, purely above 10). Pressures in pascal: 1 mbar is 100 Pa. A gauge calibrated for nitrogen reads
    helium and hydrogen wrongly.

    Examples
    --------
    >>> free_molecular_conductance_W_m2_K_Pa("helium", 300.0)
    2.0995
    >>> free_molecular_conductance_W_m2_K_Pa("nitrogen", 295.0)
    1.2005

    References
    ----------
    E. H. Kennard, Kinetic Theory of Gases (1938); R. J. Corruccini, Vacuum 7-8 (1959) 19-29.
    """
    check_positive(gauge_K=gauge_K)
    data = gas_named(gas)
    freedom = (data.heat_capacity_ratio + 1.0) / (data.heat_capacity_ratio - 1.0)
    root = np.sqrt(MOLAR_GAS_J_mol_K / (8.0 * math.pi * data.molar_mass_kg_mol * np.asarray(gauge_K)))
    return in_kind(freedom * root)


def accommodation(gas: str, surface_K: float) -> Band:
    r"""How much of the temperature of a surface a molecule takes on when it hits it once.

    Straight lines against ln T between the temperatures of the table; beyond its ends the value at the end.

    Parameters
    ----------
    gas : str
        One of `gases()`.
    surface_K : float
        Temperature of the surface, above zero [K].

    Returns
    -------
    Band
        Accommodation coefficient of a surface as found in engineering [1].

    Raises
    ------
    UnknownMaterial
        When there is no gas of that name here.
    Unphysical
        When the temperature is not above zero.

    Notes
    -----
    All values are from memory. A metal freshly cleaned and kept in the best vacuum can take up five to eight
    times less of the light gases; surfaces in a cryostat are covered with gas, and take up this much.

    Examples
    --------
    >>> accommodation("helium", 300.0)
    Band(low=0.2, best=0.29, high=0.6)

    References
    ----------
    R. J. Corruccini, Vacuum 7-8 (1959) 19-29, and R. F. Barron, G. F. Nellis, Cryogenic Heat Transfer, 2nd
    edition, from memory.
    """
    check_positive(surface_K=surface_K)
    table = _entry(gas)["accommodation"]
    at = math.log(surface_K), np.log(table["T_K"])
    low, best, high = (round(float(np.interp(*at, table[part])), 12) for part in ("low", "best", "high"))
    return Band(low, best, high)


def combined_accommodation(
    cold_accommodation: float, hot_accommodation: float, cold_area_m2: float, hot_area_m2: float
) -> float:
    r"""Accommodation of two surfaces together, to be used with the area of the inner, cold one.

    .. math:: F_a = \left[ \frac{1}{a_c} + \frac{A_c}{A_h} \left(\frac{1}{a_h} - 1\right) \right]^{-1}

    Parameters
    ----------
    cold_accommodation, hot_accommodation : float
        Coefficient of each surface, above 0 and at most 1 [1].
    cold_area_m2, hot_area_m2 : float
        Area of the inner, cold surface and of the outer, hot one [m²].

    Returns
    -------
    float
        F_a, between 0 and 1 [1].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Examples
    --------
    >>> combined_accommodation(1.0, 0.3, 0.1, 0.1)
    0.3

    References
    ----------
    R. F. Barron, G. F. Nellis, Cryogenic Heat Transfer, 2nd edition, chapter on gas conduction.
    """
    check_fraction(cold_accommodation=cold_accommodation, hot_accommodation=hot_accommodation)
    check_positive(cold_area_m2=cold_area_m2, hot_area_m2=hot_area_m2)
    return 1.0 / (1.0 / cold_accommodation + cold_area_m2 / hot_area_m2 * (1.0 / hot_accommodation - 1.0))


@overload
def mean_free_path_m(gas: str, pressure_Pa: float, temperature_K: float) -> float: ...
@overload
def mean_free_path_m(gas: str, pressure_Pa: Value, temperature_K: Value) -> Value: ...
def mean_free_path_m(gas: str, pressure_Pa: Value, temperature_K: Value) -> Value:
    r"""How far a molecule flies before it meets another.

    .. math:: \lambda = \frac{\mu}{p} \sqrt{\frac{\pi R T}{2 M}}

    Parameters
    ----------
    gas : str
        One of `gases()`.
    pressure_Pa : float or array
        Pressure where the gas is, above zero [Pa].
    temperature_K : float or array
        Temperature of the gas, above zero [K].

    Returns
    -------
    float or array
        Mean free path, within about 2 % where the viscosity is tabulated [m].

    Raises
    ------
    UnknownMaterial
        When there is no gas of that name here.
    Unphysical
        When pressure or temperature is not above zero.

    Notes
    -----
    Beyond the ends of its table the viscosity follows the power law of the last two points.

    Examples
    --------
    >>> mean_free_path_m("helium", 1.0, 300.0)
    0.0197
    >>> mean_free_path_m("nitrogen", 1.0, 300.0)
    0.0067

    References
    ----------
    E. H. Kennard, Kinetic Theory of Gases (1938). Viscosities: see the data file of the gases.
    """
    check_positive(pressure_Pa=pressure_Pa, temperature_K=temperature_K)
    T_K = np.asarray(temperature_K, dtype=float)
    speed = np.sqrt(math.pi * MOLAR_GAS_J_mol_K * T_K / (2.0 * gas_named(gas).molar_mass_kg_mol))
    return in_kind(_transport(gas, "viscosity_Pa_s", T_K) / pressure_Pa * speed)


def knudsen_number(gas: str, pressure_Pa: float, temperature_K: float, gap_m: float) -> float:
    r"""Mean free path over the gap: which law of heat in gas holds.

    .. math:: Kn = \lambda/d

    Parameters
    ----------
    gas : str
        One of `gases()`.
    pressure_Pa : float
        Pressure where the gas is, above zero [Pa].
    temperature_K : float
        Mean temperature of the gas in the gap, above zero [K].
    gap_m : float
        Distance between the two surfaces, above zero [m].

    Returns
    -------
    float
        Above 10 free molecules alone; below 0.01 a continuum; between them both [1].

    Raises
    ------
    UnknownMaterial
        When there is no gas of that name here.
    Unphysical
        When a number is not above zero.

    Examples
    --------
    >>> knudsen_number("helium", 1e-3, 300.0, 0.01) > 10.0
    True

    References
    ----------
    E. H. Kennard, Kinetic Theory of Gases (1938); the limits are common practice, no source.
    """
    check_positive(gap_m=gap_m)
    return mean_free_path_m(gas, pressure_Pa, temperature_K) / gap_m


@overload
def free_molecular_W_m2(
    gas: str, pressure_Pa: float, cold_K: float, hot_K: float, gauge_K: float, accommodation: float
) -> float: ...
@overload
def free_molecular_W_m2(
    gas: str, pressure_Pa: Value, cold_K: Value, hot_K: Value, gauge_K: Value, accommodation: Value
) -> Value: ...
def free_molecular_W_m2(
    gas: str, pressure_Pa: Value, cold_K: Value, hot_K: Value, gauge_K: Value, accommodation: Value
) -> Value:
    r"""Heat flux that free molecules carry to a cold surface.

    .. math:: q = F_a\,G(T_g)\,p_g\,(T_h - T_c)

    Parameters
    ----------
    gas : str
        One of `gases()`.
    pressure_Pa : float or array
        What the gauge reads, for this gas, zero or above [Pa].
    cold_K, hot_K : float or array
        The two surfaces, zero or above [K].
    gauge_K : float or array
        Temperature at the gauge, above zero [K].
    accommodation : float or array
        Combined accommodation F_a, above 0 and at most 1 [1].

    Returns
    -------
    float or array
        Heat flux per area of the cold, inner surface; negative when it is the hotter one [W/m²].

    Raises
    ------
    UnknownMaterial
        When there is no gas of that name here.
    Unphysical
        When an argument is out of its range or not a number.

    Examples
    --------
    >>> free_molecular_W_m2("helium", 1e-4, 4.0, 300.0, 300.0, 0.3)
    0.01864

    References
    ----------
    R. J. Corruccini, Vacuum 7-8 (1959) 19-29.
    """
    check_not_negative(pressure_Pa=pressure_Pa, cold_K=cold_K, hot_K=hot_K)
    check_fraction(accommodation=accommodation)
    conductance = free_molecular_conductance_W_m2_K_Pa(gas, np.asarray(gauge_K, dtype=float))
    return in_kind(accommodation * conductance * pressure_Pa * (np.asarray(hot_K) - cold_K))


def gas_W_m2(
    gas: str,
    pressure_Pa: float,
    gap_m: float,
    cold_K: float,
    hot_K: float,
    gauge_K: float,
    accommodation: float,
) -> float:
    r"""Heat flux through gas in a gap at any pressure.

    .. math:: \frac{1}{q} = \frac{1}{F_a G p (T_h - T_c)} + \frac{d}{\int_{T_c}^{T_h} k\,dT}

    Parameters
    ----------
    gas : str
        One of `gases()`.
    pressure_Pa : float
        What the gauge reads, for this gas, zero or above [Pa].
    gap_m : float
        Distance between the surfaces, above zero [m].
    cold_K, hot_K : float
        The two surfaces, above zero [K].
    gauge_K : float
        Temperature at the gauge, above zero [K].
    accommodation : float
        Combined accommodation F_a, above 0 and at most 1 [1].

    Returns
    -------
    float
        Heat flux to the cold surface, negative when it is the hotter one [W/m²].

    Raises
    ------
    UnknownMaterial
        When there is no gas of that name here.
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    Right at both ends; between them a blend, good to about a factor 1.5. Convection is left out.

    Examples
    --------
    >>> gas_W_m2("helium", 1e-4, 0.01, 4.0, 300.0, 300.0, 0.3)
    0.01864
    >>> gas_W_m2("helium", 1e5, 0.01, 77.0, 300.0, 300.0, 0.3)
    2496.0

    References
    ----------
    R. J. Corruccini, Vacuum 7-8 (1959) 19-29; F. S. Sherman's form of the blend, from memory.
    """
    check_positive(gap_m=gap_m, cold_K=cold_K, hot_K=hot_K)
    free = free_molecular_W_m2(gas, pressure_Pa, cold_K, hot_K, gauge_K, accommodation)
    if free == 0.0:
        return 0.0
    middle_K, half_K = (hot_K + cold_K) / 2.0, (hot_K - cold_K) / 2.0
    conductivity = _transport(gas, "conductivity_W_m_K", middle_K + half_K * _POINTS)
    continuum = float((conductivity * _WEIGHTS).sum()) * half_K / gap_m
    return 1.0 / (1.0 / free + 1.0 / continuum)


def remaining_gases(coldest_K: float) -> tuple[str, ...]:
    """Which gases a cold surface has not taken out of the vacuum.

    A gas is gone when its vapour pressure at the coldest surface is far below any vacuum that matters.

    Parameters
    ----------
    coldest_K : float
        Temperature of the coldest surface the gas can reach, above zero [K].

    Returns
    -------
    tuple of str
        Names of the gases of which some or all may be left.

    Raises
    ------
    Unphysical
        When the temperature is not above zero.

    Notes
    -----
    Temperatures from memory. Below 20 K only helium, hydrogen and neon remain; a bad pressure that stays
    when all is cold is helium, hydrogen or a leak.

    Examples
    --------
    >>> remaining_gases(15.0)
    ('helium', 'hydrogen', 'neon')
    >>> remaining_gases(3.0)
    ('helium',)

    References
    ----------
    Vapour pressures of frozen gases, from memory.
    """
    check_positive(coldest_K=coldest_K)
    known = (gas_named(name) for name in gases())
    return tuple(gas.name for gas in known if gas.freezes_K is None or coldest_K > gas.freezes_K[0])


def pressure_where_cold_Pa(gauge_Pa: float, gauge_K: float, cold_K: float) -> float:
    r"""Pressure of free molecules in a cold space that is joined to a gauge at another temperature.

    .. math:: p_c = p_g \sqrt{T_c/T_g}

    Parameters
    ----------
    gauge_Pa : float
        What the gauge reads, zero or above [Pa].
    gauge_K, cold_K : float
        Temperature at the gauge and of the cold space, above zero [K].

    Returns
    -------
    float
        Pressure in the cold space [Pa].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    The laws of this module take the reading of the gauge, and no pressure worked out like this.

    Examples
    --------
    >>> pressure_where_cold_Pa(1e-4, 300.0, 3.0)
    1e-05

    References
    ----------
    E. H. Kennard, Kinetic Theory of Gases (1938), thermal transpiration.
    """
    check_not_negative(gauge_Pa=gauge_Pa)
    check_positive(gauge_K=gauge_K, cold_K=cold_K)
    return gauge_Pa * math.sqrt(cold_K / gauge_K)


def _transport(name: str, property_name: str, T_K: Array) -> Array:
    """Viscosity or conductivity of thin gas: straight lines of ln against ln T, carried on at the ends."""
    entry = _entry(name)
    x, y = np.log(entry["T_K"]), np.log(entry[property_name])
    at = np.log(T_K)
    cell = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    slope = (y[cell + 1] - y[cell]) / (x[cell + 1] - x[cell])
    return np.asarray(np.exp(y[cell] + slope * (at - x[cell])))


def _entry(name: str) -> Mapping[str, Any]:
    entries: Mapping[str, Mapping[str, Any]] = _data()["gases"]
    if name not in entries:
        raise UnknownMaterial(f"There is no gas called '{name}' here.")
    return entries[name]


@cache
def _data() -> Mapping[str, Any]:
    path = files("server.physics.thermal") / "data" / "gases.json"
    found: Mapping[str, Any] = json.loads(path.read_text("utf-8"))
    return found
