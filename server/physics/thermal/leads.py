"""Leads that carry a current: conduction and Joule heat together.

With s the length over area measured from the hot end and q the heat flowing towards the cold end,
dq/ds = I²ρ and q = −k dT/ds. Dividing one by the other, q dq = −I² kρ dT, so that for any length

    q_c² = q_h² + 2 I² ∫ kρ dT   from cold to hot,

and the length follows as ∫ k dT / q. If q_h is negative the lead is hottest somewhere inside.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from server.physics.arguments import check_not_negative, check_positive
from server.physics.errors import NoSteadyState, OutOfRange
from server.physics.materials import Material
from server.physics.materials import material as find_material
from server.physics.materials.arrays import Array
from server.physics.materials.integral import IntegralTable, integrate

_FEWEST_CELLS = 64
_WIDEST_CELL = 0.008
_TRIAL_PEAKS = 80


@dataclass(frozen=True)
class CurrentLead:
    """What one conductor of a given shape does.

    Attributes
    ----------
    cold_end_W : float
        Heat arriving at the cold end [W].
    hot_end_W : float
        Heat drawn from the hot end [W], negative when the lead heats it.
    peak_K : float
        Highest temperature along the lead [K].
    """

    cold_end_W: float
    hot_end_W: float
    peak_K: float


@dataclass(frozen=True)
class OptimumLead:
    """The shape that brings the least heat to the cold end at one current.

    Attributes
    ----------
    length_over_area_per_m : float
        Length over cross-section [1/m].
    cold_end_W : float
        Heat arriving at the cold end [W]; no heat is drawn from the hot end.
    """

    length_over_area_per_m: float
    cold_end_W: float


class _Integrals(NamedTuple):
    """∫ k dT and ∫ kρ dT of one material, and where both are known."""

    k: IntegralTable
    k_rho: IntegralTable
    covered_K: tuple[float, float]


def current_lead(
    material: str | Material,
    length_over_area_per_m: float,
    current_A: float,
    cold_K: float,
    hot_K: float,
) -> CurrentLead:
    """Heat at both ends of one conductor that carries a current, in vacuum.

    q_c² = q_h² + 2 I² ∫ kρ dT, with q_h such that ∫ k dT / q is the length over area. One conductor: a
    pair brings twice as much. Without current it is plain conduction.

    Parameters
    ----------
    material : str or Material
        With data of both conductivity and resistivity (only the first if there is no current).
    length_over_area_per_m : float
        Length over cross-section [1/m], more than zero.
    current_A : float
        Direct current, or the effective value of an alternating one [A]; its sign does not matter.
    cold_K, hot_K : float
        Temperatures of the ends [K].

    Returns
    -------
    CurrentLead

    Raises
    ------
    NoSteadyState
        When no temperature inside the range of the data carries the heat away: such a lead burns out.
    OutOfRange
        When an end is outside the range of the data.
    NoData
        When the material has no resistivity.
    Unphysical
        When an argument is not a finite number, or a length over area not above zero.

    Examples
    --------
    One metre of 1 mm², k = 400 W/(m K), ρ = 10 nΩ m, 5 A, from 300 to 4 K:

    >>> from server.physics.materials import constant_material
    >>> lead = current_lead(constant_material(400.0, 1e-8), 1e6, 5.0, 4.0, 300.0)
    >>> round(lead.cold_end_W, 4), round(lead.hot_end_W, 4)
    (0.2434, -0.0066)

    References
    ----------
    R. McFee, Optimum input leads for cryogenic apparatus, Rev. Sci. Instrum. 30 (1959) 98. M. N. Wilson,
    Superconducting Magnets, Oxford 1983, p. 257.
    """
    check_positive(length_over_area_per_m=length_over_area_per_m, cold_K=cold_K, hot_K=hot_K)
    check_not_negative(current_A=abs(current_A))
    solid = find_material(material)
    if cold_K > hot_K:
        turned = current_lead(solid, length_over_area_per_m, current_A, hot_K, cold_K)
        return CurrentLead(-turned.hot_end_W, -turned.cold_end_W, turned.peak_K)
    if current_A == 0.0:
        heat_W = solid.conductivity_integral_W_m(cold_K, hot_K) / length_over_area_per_m
        return CurrentLead(heat_W, heat_W, hot_K)
    integrals = _checked_integrals(solid, cold_K, hot_K)
    lead = _Lead(integrals, abs(current_A), cold_K, hot_K)
    if length_over_area_per_m <= lead.length_per_m(0.0):
        return lead.cooler_inside(length_over_area_per_m)
    return lead.hotter_inside(length_over_area_per_m)


def optimum_lead(material: str | Material, current_A: float, cold_K: float, hot_K: float) -> OptimumLead:
    """The lead that brings the least heat to the cold end at one current, in vacuum.

    It draws nothing from the hot end: q_c = I √(2 ∫ kρ dT). Without current it still conducts, about three
    quarters of that.

    Parameters
    ----------
    material : str or Material
        With data of both conductivity and resistivity.
    current_A : float
        Current [A], not zero; its sign does not matter.
    cold_K, hot_K : float
        Temperatures of the ends [K], the second above the first.

    Returns
    -------
    OptimumLead

    Raises
    ------
    OutOfRange
        When an end is outside the range of the data.
    NoData
        When the material has no resistivity.
    Unphysical
        When an argument is not a finite number, the current is zero, or the ends are not cold and hot.

    Examples
    --------
    >>> lead = optimum_lead("copper-rrr-100", 1.0, 4.0, 300.0)
    >>> round(lead.cold_end_W * 1e3, 1)
    43.4

    References
    ----------
    R. McFee, Optimum input leads for cryogenic apparatus, Rev. Sci. Instrum. 30 (1959) 98. A. Ballarino,
    Current leads, links and buses, CERN Accelerator School (2013).
    """
    check_positive(current_A=abs(current_A), cold_K=cold_K, temperature_difference_K=hot_K - cold_K)
    lead = _Lead(_checked_integrals(find_material(material), cold_K, hot_K), abs(current_A), cold_K, hot_K)
    return OptimumLead(lead.length_per_m(0.0), lead.cold_end_W(0.0))


@lru_cache(maxsize=64)
def _integrals(solid: Material) -> _Integrals:
    """The two integrals of a lead, over the temperatures at which both properties are known."""
    k, rho = solid.about("conductivity").covered_K, solid.about("resistivity").covered_K
    covered_K = max(k[0], rho[0]), min(k[1], rho[1])
    corners_K = np.concatenate([solid.corners_K("conductivity"), solid.corners_K("resistivity"), covered_K])
    corners_K = np.unique(corners_K[(covered_K[0] <= corners_K) & (corners_K <= covered_K[1])])
    k_rho = integrate(lambda T_K: solid.conductivity_W_m_K(T_K) * solid.resistivity_ohm_m(T_K), corners_K)
    return _Integrals(solid.table(), k_rho, covered_K)


def _checked_integrals(solid: Material, cold_K: float, hot_K: float) -> _Integrals:
    integrals = _integrals(solid)
    low_K, high_K = integrals.covered_K
    if not low_K <= cold_K <= hot_K <= high_K:
        ends = f"{cold_K:g} to {hot_K:g} K"
        raise OutOfRange(
            f"A lead of {solid.name} can be told between {low_K:g} and {high_K:g} K, not {ends}."
        )
    return integrals


@dataclass(frozen=True)
class _Lead:
    """One conductor between two temperatures, its length still open."""

    integrals: _Integrals
    current_A: float
    cold_K: float
    hot_K: float

    @cached_property
    def _between_ends(self) -> tuple[Array, Array]:
        return self._cells(self.cold_K, self.hot_K)

    def cold_end_W(self, hot_end_W: float) -> float:
        """Heat at the cold end from that at the hot end, whatever the length."""
        return float(np.sqrt(hot_end_W**2 + self._between_ends[1][0]))

    def length_per_m(self, hot_end_W: float) -> float:
        """Length over area of a lead that draws this much, not less than zero, from its hot end."""
        return _length_per_m(*self._between_ends, hot_end_W)

    def cooler_inside(self, length_per_m: float) -> CurrentLead:
        """A short lead: it draws heat from its hot end, and is nowhere hotter than that."""
        most_W = float(self._between_ends[0].sum()) / length_per_m
        hot_end_W = _root(lambda q_W: length_per_m - self.length_per_m(q_W), 0.0, most_W)
        return CurrentLead(self.cold_end_W(hot_end_W), hot_end_W, self.hot_K)

    def hotter_inside(self, length_per_m: float) -> CurrentLead:
        """A long lead: it is hottest inside and heats both its ends.

        Of several steady states the coolest is the one a rising current reaches.
        """
        top_K = self.integrals.covered_K[1]
        peaks_K = (self.hot_K + (top_K - self.hot_K) * np.linspace(0.0, 1.0, _TRIAL_PEAKS) ** 2).tolist()
        pairs = (pair for pair in pairwise(peaks_K) if self._length_with_peak_per_m(pair[1]) >= length_per_m)
        below_K, above_K = next(pairs, (None, None))
        if below_K is None or above_K is None:
            raise NoSteadyState(
                f"At {self.current_A:g} A this lead has no steady temperature up to {top_K:g} K:"
                " it would overheat. Make it shorter or thicker."
            )
        peak_K = _root(lambda T_K: self._length_with_peak_per_m(T_K) - length_per_m, below_K, above_K)
        to_cold, to_hot = self._from_peak_W(peak_K)
        return CurrentLead(to_cold, -to_hot, peak_K)

    def _from_peak_W(self, peak_K: float) -> tuple[float, float]:
        """Heat that reaches the cold and the hot end from a peak between them."""
        cold, hot, peak = self.integrals.k_rho.at(np.array([self.cold_K, self.hot_K, peak_K]))
        scale = np.sqrt(2.0) * self.current_A
        return float(scale * np.sqrt(peak - cold)), float(scale * np.sqrt(max(0.0, peak - hot)))

    def _length_with_peak_per_m(self, peak_K: float) -> float:
        halves = (self._cells(end_K, peak_K) for end_K in (self.cold_K, self.hot_K) if end_K < peak_K)
        return sum(_length_per_m(*half, 0.0) for half in halves)

    def _cells(self, cold_K: float, hot_K: float) -> tuple[Array, Array]:
        """∫ k dT of each cell of a grid, and at its nodes 2 I² ∫ kρ dT from there to the hot end.

        The grid grows finer towards the hot end, where q may vanish and changes fastest.
        """
        span = np.log(hot_K / cold_K)
        cells = max(_FEWEST_CELLS, int(np.ceil(2.0 * span / _WIDEST_CELL)))
        T_K = hot_K * np.exp(-span * np.linspace(1.0, 0.0, cells + 1) ** 2)
        T_K[0] = cold_K
        joule = self.integrals.k_rho.at(T_K)
        still_to_come = np.maximum(0.0, joule[-1] - joule)
        return np.diff(self.integrals.k.at(T_K)), 2.0 * self.current_A**2 * still_to_come


def _length_per_m(conducted_W_m: Array, joule_W2: Array, hot_end_W: float) -> float:
    """∫ k dT / q over the cells.

    Exact in every cell where k and ρ are constant, even where q vanishes: there q² is linear in T.
    """
    q_W = np.sqrt(hot_end_W**2 + joule_W2)
    mean_W = np.maximum((q_W[1:] + q_W[:-1]) / 2.0, np.finfo(float).tiny)
    return float(np.sum(conducted_W_m / mean_W))


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses zero between two values, by halving, to the last digits."""
    for _ in range(100):
        middle = (low + high) / 2.0
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
        if high - low <= 1e-13 * abs(high):
            break
    return (low + high) / 2.0
