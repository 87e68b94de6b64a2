"""Heat that a current makes in a free span, and to which end it goes."""

from functools import lru_cache

import numpy as np

from server.physics.errors import NoSteadyState
from server.physics.materials import Material
from server.physics.materials.arrays import Array

_POINTS = 24
_AT, _WEIGHT = (part / 2.0 for part in np.polynomial.legendre.leggauss(_POINTS))
_AT = _AT + 0.5
_RESPONSE: Array = np.minimum.outer(_AT, _AT) * (1.0 - np.maximum.outer(_AT, _AT)) * _WEIGHT
"""What heat made at one place does to ∫ k dT at another, for a span whose ends are held."""

_MOST_ROUNDS = 60


@lru_cache(maxsize=4096)
def joule_heat_W(
    solid: Material, length_over_area_per_m: float, current_A: float, cold_K: float, hot_K: float
) -> tuple[float, float]:
    r"""Heat of a current into the hot and into the cold end of a span, beyond plain conduction.

    .. math:: \frac{d^2u}{dx^2} = -\frac{I^2 \rho(T)}{A^2}, \quad u = \int k\,dT

    solved by letting ρ follow the temperature it causes; where this does not settle, no current does either.

    Parameters
    ----------
    solid : Material
        The conductor, with data of conductivity and resistivity.
    length_over_area_per_m : float
        Length over cross-section, above zero [1/m].
    current_A : float
        Effective current, zero or above [A].
    cold_K, hot_K : float
        Temperatures of the ends [K].

    Returns
    -------
    (float, float)
        Heat into the hot and into the cold end [W].

    Raises
    ------
    NoSteadyState
        When the span would overheat inside the range of its data.
    NoData, OutOfRange
        When the resistivity is not known there.

    Notes
    -----
    Where ρ is the same all along, half goes to each end whatever k(T) is, since the heat is made evenly in
    u. Of 24 wires No. 36 of phosphor bronze at 10 mA the 0.15 m between shield and platform make 3.1 mW cold
    (8.6 Ω/m, not the 10 Ω/m of a warm wire), and 1.6 mW of that reach the platform; rules of thumb that give
    it two to four take the warm wire, and up to all of its heat.

    Examples
    --------
    Constant properties give half to each end:

    >>> from server.physics.materials import constant_material
    >>> joule_heat_W(constant_material(400.0, 1e-8), 1e6, 5.0, 4.0, 300.0)
    (0.125, 0.125)

    References
    ----------
    R. McFee, Rev. Sci. Instrum. 30 (1959) 98, for the law; `leads.current_lead` solves it by its first
    integral.
    """
    table, top_K = solid.table(), solid.about("conductivity").covered_K[1]
    start, end = table.at(np.array([hot_K, cold_K]))
    plain = start + (end - start) * _AT
    made_W = np.zeros(_POINTS)
    for _ in range(_MOST_ROUNDS):
        u = plain + length_over_area_per_m * (_RESPONSE @ made_W)
        if not u.max() <= table.integral[-1]:
            break
        # The table is linear enough between nodes to be turned round: its cells are a hundredth wide.
        T_K = np.clip(np.interp(u, table.integral, table.T_K), min(cold_K, hot_K), top_K)
        before, made_W = made_W, current_A**2 * solid.resistivity_ohm_m(T_K) * length_over_area_per_m
        if np.abs(made_W - before).max() <= 1e-9 * made_W.max():
            return float(_WEIGHT * (1.0 - _AT) @ made_W), float(_WEIGHT * _AT @ made_W)
    inside = f"gets hotter inside than its data go, {top_K:g} K"
    raise NoSteadyState(f"At {current_A:g} A a run of {solid.name} {inside}: in vacuum it overheats.")


@lru_cache(maxsize=4096)
def span_resistance_ohm(solid: Material, length_over_area_per_m: float, cold_K: float, hot_K: float) -> float:
    r"""Electrical resistance of a span between two temperatures, with the temperatures conduction gives it.

    .. math:: R = \frac{L}{A} \int_0^1 \rho(T(\xi))\,d\xi

    Parameters
    ----------
    solid : Material
        The conductor, with data of conductivity and resistivity.
    length_over_area_per_m : float
        Length over cross-section, above zero [1/m].
    cold_K, hot_K : float
        Temperatures of the ends [K].

    Returns
    -------
    float
        Resistance [Ω].

    Raises
    ------
    NoData, OutOfRange
        When the resistivity is not known there.

    Examples
    --------
    One metre of AWG 36 phosphor bronze is about 10 Ω:

    >>> from server.physics.materials import material
    >>> round(span_resistance_ohm(material("phosphor-bronze"), 1.0 / 1.267e-8, 293.0, 293.0), 1)
    10.2

    References
    ----------
    Ohm's law; resistivities as the material says.
    """
    table = solid.table()
    start, end = table.at(np.array([hot_K, cold_K]))
    low_K, high_K = min(cold_K, hot_K), max(cold_K, hot_K)
    T_K = np.clip(np.interp(start + (end - start) * _AT, table.integral, table.T_K), low_K, high_K)
    return float(length_over_area_per_m * (_WEIGHT @ solid.resistivity_ohm_m(T_K)))
