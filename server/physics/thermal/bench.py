"""Questions asked at the bench: each puts a few mechanisms together for what a person can see and measure."""

import math

from server.physics.arguments import check_count, check_positive
from server.physics.materials import awg_diameter_m
from server.physics.materials import material as find_material
from server.physics.mechanics import Clamping, clamping_cold, stack_of
from server.physics.mechanics.discs import disc_of_size
from server.physics.statistics import Band
from server.physics.thermal.cooldown import ColdMass, cooling_time_s, power_from_points
from server.physics.thermal.gas import accommodation, combined_accommodation, gas_W_m2
from server.physics.thermal.radiation import grey_exchange_factor, radiated_W
from server.physics.thermal.surfaces import emissivity


def awg_area_m2(gauge: int | str) -> float:
    r"""Cross section of a solid round wire of an American Wire Gauge.

    .. math:: A = \frac{\pi}{4} d^2

    Parameters
    ----------
    gauge : int or str
        0 to 56; the thick ones as ``"00"`` to ``"0000"``.

    Returns
    -------
    float
        Area of the metal, without enamel [m²].

    Raises
    ------
    Unphysical
        When there is no such gauge.

    Examples
    --------
    >>> awg_area_m2(36) * 1e6
    0.01267

    References
    ----------
    ASTM B258.
    """
    return math.pi / 4.0 * awg_diameter_m(gauge) ** 2


def wire_heat_W(
    material: str, diameter_m: float, count: int, length_m: float, cold_K: float, hot_K: float
) -> Band:
    r"""Heat that wires conduct from a warm place to a cold one.

    .. math:: Q = N \frac{\pi d^2}{4 L} \int_{T_c}^{T_h} k\,dT

    Parameters
    ----------
    material : str
        The metal.
    diameter_m : float
        Diameter of the metal, above zero [m].
    count : int
        How many wires, one or more [1].
    length_m : float
        Length between the two places, above zero [m].
    cold_K, hot_K : float
        Temperature at each end [K].

    Returns
    -------
    Band
        Heat into the cold end, with the uncertainty of the conductivity [W].

    Raises
    ------
    Unphysical
        When a number is not above zero.
    UnknownMaterial, OutOfRange
        When the conductivity is not known all the way.

    Notes
    -----
    No current, and no lag on the way. A lag does not rescue copper: it conducts best where a lag cannot
    help.

    Examples
    --------
    >>> wire_heat_W("manganin", 0.127e-3, 24, 0.45, 4.0, 300.0).best * 1e3
    2.9

    References
    ----------
    Fourier's law; conductivities as the materials say.
    """
    check_positive(diameter_m=diameter_m, length_m=length_m)
    check_count(count=count)
    solid = find_material(material)
    shape_m = count * math.pi / 4.0 * diameter_m**2 / length_m
    heat_W = shape_m * solid.conductivity_integral_W_m(cold_K, hot_K)
    low, high = solid.uncertainty_of_integral(cold_K, hot_K)
    ends = sorted((low * heat_W, high * heat_W))
    return Band(ends[0], heat_W, ends[1])


def wire_resistance_ohm(material: str, diameter_m: float, length_m: float, temperature_K: float) -> Band:
    r"""Electrical resistance of a wire.

    .. math:: R = \frac{4 \rho L}{\pi d^2}

    Parameters
    ----------
    material : str
        The metal.
    diameter_m : float
        Diameter of the metal, above zero [m].
    length_m : float
        Length, above zero [m].
    temperature_K : float
        Temperature all along it [K].

    Returns
    -------
    Band
        Resistance, with the uncertainty of the resistivity [Ω].

    Raises
    ------
    Unphysical
        When a number is not above zero.
    UnknownMaterial, NoData, OutOfRange
        When the resistivity is not known there.

    Examples
    --------
    >>> wire_resistance_ohm("manganin", 0.127e-3, 1.0, 300.0).best
    38.7

    References
    ----------
    Ohm's law; resistivities as the materials say.
    """
    check_positive(diameter_m=diameter_m, length_m=length_m)
    solid = find_material(material)
    best = solid.resistivity_ohm_m(temperature_K) * length_m * 4.0 / (math.pi * diameter_m**2)
    return Band.within_factor(best, 1.0 + solid.about("resistivity").relative_uncertainty)


def surface_heat_W(
    cold_finish: str,
    hot_finish: str,
    cold_area_m2: float,
    hot_area_m2: float,
    cold_K: float,
    hot_K: float,
) -> Band:
    r"""Heat radiated between two surfaces of which one encloses the other.

    .. math:: Q = E(e_c, e_h) A_c \sigma (T_h^4 - T_c^4)

    Parameters
    ----------
    cold_finish, hot_finish : str
        State of each surface, one of `finishes()`.
    cold_area_m2, hot_area_m2 : float
        Area of each, above zero [m²].
    cold_K, hot_K : float
        Temperature of each, 1 to 310 [K].

    Returns
    -------
    Band
        Heat into the cold surface; without a best value where only the range of a finish is known [W].

    Raises
    ------
    Unphysical
        When an area is not above zero.
    UnknownMaterial, OutOfRange
        When a finish is not known, or not at that temperature.

    Examples
    --------
    >>> band = surface_heat_W("handled-metal", "as-machined-aluminium", 0.15, 0.2, 35.0, 295.0)
    >>> 1.5 < band.best < 3.0
    True

    References
    ----------
    R. Siegel, J. R. Howell, Thermal Radiation Heat Transfer, chapter on enclosures of grey diffuse surfaces.
    """
    cold, hot = emissivity(cold_finish, cold_K), emissivity(hot_finish, hot_K)

    def heat_W(cold_share: float | None, hot_share: float | None) -> float | None:
        if cold_share is None or hot_share is None:
            return None
        factor = grey_exchange_factor(cold_share, hot_share, cold_area_m2, hot_area_m2)
        return radiated_W(factor, cold_area_m2, cold_K, hot_K)

    low, best, high = heat_W(cold.low, hot.low), heat_W(cold.best, hot.best), heat_W(cold.high, hot.high)
    return Band(low, best, high) if cold_K <= hot_K else Band(high, best, low)


def residual_gas_W(
    gas: str,
    gauge_Pa: float,
    area_m2: float,
    gap_m: float,
    cold_K: float,
    hot_K: float,
    gauge_K: float = 295.0,
) -> Band:
    r"""Heat that what gas is left carries from a warm wall to a cold one of about the same area.

    .. math:: Q = A\,q(p, F_a)

    Parameters
    ----------
    gas : str
        One of `gases()`.
    gauge_Pa : float
        What the gauge reads, for this gas, zero or above [Pa].
    area_m2 : float
        Area of the cold wall, above zero [m²].
    gap_m : float
        Distance between the walls, above zero [m].
    cold_K, hot_K : float
        Temperature of each wall, above zero [K].
    gauge_K : float, optional
        Temperature at the gauge, above zero [K].

    Returns
    -------
    Band
        Heat into the cold wall, with the band of the accommodation [W].

    Raises
    ------
    UnknownMaterial
        When there is no such gas here.
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    A gauge calibrated for nitrogen reads other gases wrongly. A gas may have frozen out.

    Examples
    --------
    >>> residual_gas_W("helium", 1e-2, 0.15, 0.01, 35.0, 295.0).contains(0.4)
    True

    References
    ----------
    R. J. Corruccini, Vacuum 7-8 (1959) 19-29.
    """
    check_positive(area_m2=area_m2)
    cold, hot = accommodation(gas, cold_K), accommodation(gas, hot_K)

    def heat_W(cold_share: float | None, hot_share: float | None) -> float:
        assert cold_share is not None
        assert hot_share is not None
        taken = combined_accommodation(cold_share, hot_share, area_m2, area_m2)
        return area_m2 * gas_W_m2(gas, gauge_Pa, gap_m, cold_K, hot_K, gauge_K, taken)

    low, best, high = heat_W(cold.low, hot.low), heat_W(cold.best, hot.best), heat_W(cold.high, hot.high)
    return Band(low, best, high) if cold_K <= hot_K else Band(high, best, low)


def cooling_time_at_power_s(
    material: str, mass_kg: float, power_W: float, hot_K: float, cold_K: float
) -> Band:
    r"""Time to cool a mass with a constant net power.

    .. math:: t = \frac{m}{P} \int_{T_c}^{T_h} c\,dT

    Parameters
    ----------
    material : str
        What it is made of.
    mass_kg : float
        Its mass, above zero [kg].
    power_W : float
        Cooling power less all loads, above zero [W].
    hot_K, cold_K : float
        Where it starts and where it shall get [K].

    Returns
    -------
    Band
        Time, with the uncertainty of the specific heat [s].

    Raises
    ------
    Unphysical
        When a number is not above zero or the temperatures are not falling.
    UnknownMaterial, NoData, OutOfRange
        When the specific heat is not known all the way.

    Notes
    -----
    A cooler's power falls on the way down; take the mean over the enthalpy, or points of its power.

    Examples
    --------
    >>> cooling_time_at_power_s("copper-rrr-100", 5.0, 10.0, 300.0, 77.0).best / 3600.0
    10.41

    References
    ----------
    Conservation of energy; specific heats as the materials say.
    """
    check_positive(mass_kg=mass_kg, power_W=power_W, hot_K=hot_K, cold_K=cold_K)
    power = power_from_points([min(cold_K, hot_K), max(cold_K, hot_K)], [power_W, power_W], 0.0)
    return cooling_time_s([ColdMass(material, mass_kg)], power, hot_K, cold_K)


def clamping_with_discs(
    preload_N: float,
    thread_name: str,
    grip_m: float,
    screw: str,
    joint: str,
    disc: str,
    orientation: str,
    cold_K: float = 4.0,
) -> Clamping:
    r"""What cooling leaves of the preload of a screw with disc springs under its head.

    .. math:: \frac{F}{k_b} + \frac{F}{k_j} + s(F) = \frac{F_0}{k_b} + \frac{F_0}{k_j} + s(F_0)
              - L (c_j - c_b)

    with the deflection s(F) of the stack, which does not grow beyond flat.

    Parameters
    ----------
    preload_N : float
        Force at room temperature, zero or above [N].
    thread_name : str
        One of `threads()`.
    grip_m : float
        Length clamped, above zero [m].
    screw, joint : str
        Materials of the screw and of what it clamps.
    disc : str
        Size of the discs, one of `disc_sizes()`.
    orientation : str
        How they are stacked, a sign a disc as `stack_of` reads it: ``"()()"`` is four in series.
    cold_K : float, optional
        Temperature it is cooled to from 293 K [K].

    Returns
    -------
    Clamping
        Force warm and cold, mismatch, and what is wrong.

    Raises
    ------
    Unphysical
        When a number is out of its range, a stack cannot be read, or its discs snap through.
    UnknownMaterial, NoData, OutOfRange
        When a size or a material is not known, or has no contraction or modulus there.

    Notes
    -----
    A disc upside down nests with its neighbour: write the stack as it is built. Flattened discs are plain
    washers. Beryllium-copper discs are used as supplied: no filing, sanding or drilling; their dust is toxic.
    The standing order says how discs go in; this result is no approval, and local rules decide.

    Examples
    --------
    >>> stack = ("M3", 0.010, "stainless-304", "aluminium-6061", "A8", "()()")
    >>> clamping_with_discs(200.0, *stack).loose
    False

    References
    ----------
    J. A. Chambers, NASA TM-106943 (1995); DIN EN 16984 (formerly DIN 2092); contractions as the materials
    say.
    """
    stack = stack_of(disc_of_size(disc), orientation)
    return clamping_cold(
        preload_N,
        thread_name=thread_name,
        grip_m=grip_m,
        screw=screw,
        joint=joint,
        stack=stack,
        cold_K=cold_K,
    )
