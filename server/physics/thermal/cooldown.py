"""How long a stage takes to get cold, and what an added mass costs.

A stage of heat capacity C(T) = Σ mᵢ cᵢ(T), of one temperature throughout, under a net power P(T), cooler
minus loads, needs t = ∫ C dT / P from cold to hot. The masses add, so an added mass costs its own integral
whatever else is there. Plastics and badly joined parts lag behind: this is the least they take.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from server.physics.arguments import check_not_negative, check_positive
from server.physics.errors import OutOfRange, Unphysical
from server.physics.materials import Material
from server.physics.materials import material as find_material
from server.physics.materials.arrays import Array
from server.physics.statistics import Band, together

USUAL_TARGETS_K = (100.0, 50.0, 10.0)
"""Temperatures people ask for on the way down [K], before the base."""

_WIDEST_CELL = 0.01
_MOST_MARKS = 60


@dataclass(frozen=True)
class ColdMass:
    """Something that must be cooled: its material and its mass [kg], a number or a band."""

    material: str | Material
    mass_kg: float | Band

    @property
    def mass_band_kg(self) -> Band:
        """The mass as a band [kg]."""
        return self.mass_kg if isinstance(self.mass_kg, Band) else Band.exact(self.mass_kg)


@dataclass(frozen=True)
class NetPower:
    """Net cooling power of a stage against its own temperature, in stretches straight in temperature.

    Made by `power_from_points` or `learnt_power`.

    Attributes
    ----------
    edges_K : (n + 1,) tuple
        Rising temperatures between the stretches [K].
    cold_W, hot_W : (n,) tuples
        Power at the cold and at the hot end of each stretch [W].
    relative_uncertainty : float
        Central 95 % of the power as a fraction, the same at every temperature.
    """

    edges_K: tuple[float, ...]
    cold_W: tuple[float, ...]
    hot_W: tuple[float, ...]
    relative_uncertainty: float


@dataclass(frozen=True)
class CooldownTime:
    """When a stage reaches a temperature.

    Attributes
    ----------
    target_K : float
        The temperature [K].
    time_s : Band or None
        From the start [s]; None when it is not known or never comes.
    reason : str
        Why there is no time, else empty.
    """

    target_K: float
    time_s: Band | None
    reason: str = ""


def power_from_points(
    T_K: Sequence[float], power_W: Sequence[float], relative_uncertainty: float = 0.2
) -> NetPower:
    """Net power from points a maker or a test gives, straight lines between them and nothing outside.

    Parameters
    ----------
    T_K : sequence of float
        At least two temperatures of the stage [K], rising.
    power_W : sequence of float
        Cooling power less all loads at each [W]; zero at the base, negative below it.
    relative_uncertainty : float, optional
        Central 95 % as a fraction, not negative [1].

    Returns
    -------
    NetPower

    Raises
    ------
    Unphysical
        When there are fewer than two points, they do not rise, or something is not a number.

    Examples
    --------
    >>> power_from_points([4.0, 40.0, 300.0], [0.5, 30.0, 60.0]).edges_K
    (4.0, 40.0, 300.0)

    References
    ----------
    Straight lines between what is given.
    """
    if len(T_K) != len(power_W) or len(T_K) < 2:
        raise Unphysical("Give at least two temperatures and one power for each.")
    check_positive(T_K=np.asarray(T_K, dtype=float))
    check_not_negative(relative_uncertainty=relative_uncertainty)
    if any(later <= earlier for earlier, later in pairwise(T_K)):
        raise Unphysical("The temperatures of the power must rise from point to point.")
    if not all(math.isfinite(power) for power in power_W):
        raise Unphysical("Every power must be a number.")
    return NetPower(tuple(T_K), tuple(power_W[:-1]), tuple(power_W[1:]), relative_uncertainty)


def learnt_power(
    time_s: Sequence[float],
    T_K: Sequence[float],
    masses: Sequence[ColdMass],
    relative_uncertainty: float = 0.0,
) -> NetPower:
    """Net power learnt from a reference cooldown of known masses.

    The way down is cut into stretches, at the readings or, of many, at equal steps of ln T; in each the
    power is the enthalpy given up divided by the time it took, so that the reference itself is told
    exactly. A temperature counts from when it was first reached. What differs from the reference is best
    told as its times plus `added_mass_delay_s`: the masses of the reference then hardly matter.

    Parameters
    ----------
    time_s : sequence of float
        Times of the readings [s], rising.
    T_K : sequence of float
        Temperature of the stage at each [K], falling on the whole.
    masses : sequence of ColdMass
        What was cooled then.
    relative_uncertainty : float, optional
        Of the power beyond that of the masses, as a fraction, not negative [1].

    Returns
    -------
    NetPower
        From the coldest reading to the first.

    Raises
    ------
    Unphysical
        When there are fewer than two readings, times do not rise, or nothing got colder.
    OutOfRange, NoData
        When the specific heat of a mass is not known there.

    Examples
    --------
    5 kg of copper that took 37 480 s from 300 to 77 K gave up 10 W:

    >>> power = learnt_power([0.0, 37_480.0], [300.0, 77.0], [ColdMass("copper-rrr-100", 5.0)])
    >>> round(sum(power.cold_W) / len(power.cold_W))
    10

    References
    ----------
    Conservation of energy; specific heats as the materials say.
    """
    falling_K, reached_s = _first_reached(time_s, T_K)
    marks_K, marks_s = _marks(falling_K, reached_s)
    enthalpy = np.array([enthalpy_J(masses, cold, hot).middle for hot, cold in pairwise(marks_K.tolist())])
    power_W = tuple((enthalpy / np.diff(marks_s))[::-1].tolist())
    known = enthalpy_J(masses, float(marks_K[-1]), float(marks_K[0]))
    spread = (known.half_width or 0.0) / known.middle
    uncertainty = math.hypot(relative_uncertainty, spread)
    return NetPower(tuple(marks_K[::-1].tolist()), power_W, power_W, uncertainty)


def enthalpy_J(masses: Sequence[ColdMass], cold_K: float, hot_K: float) -> Band:
    """Heat to be taken out of masses between two temperatures, Σ mᵢ ∫ cᵢ dT.

    Parameters
    ----------
    masses : sequence of ColdMass
        At least one.
    cold_K, hot_K : float
        Temperatures [K].

    Returns
    -------
    Band
        With the uncertainty of masses and specific heats [J].

    Raises
    ------
    OutOfRange, NoData
        When the specific heat of a mass is not known there.

    Examples
    --------
    >>> round(enthalpy_J([ColdMass("copper-rrr-100", 1.0)], 77.0, 300.0).middle, -2)
    75000.0

    References
    ----------
    Conservation of energy; specific heats as the materials say.
    """
    return together(
        _with_specific_heat(mass, find_material(mass.material).enthalpy_J_kg(cold_K, hot_K))
        for mass in masses
    )


def cooling_time_s(masses: Sequence[ColdMass], power: NetPower, hot_K: float, cold_K: float) -> Band:
    """Time to cool masses from one temperature to another: t = Σ mᵢ ∫ cᵢ dT / P.

    Parameters
    ----------
    masses : sequence of ColdMass
        What is cooled, at least one.
    power : NetPower
        Net cooling power of their stage.
    hot_K, cold_K : float
        Where it starts and where it shall get [K].

    Returns
    -------
    Band
        With the uncertainty of masses, specific heats and power [s].

    Raises
    ------
    OutOfRange
        When power or specific heat are not known all the way, or the power is used up on the way.
    NoData
        When a mass has no specific heat.
    Unphysical
        When the temperatures are not falling.

    Examples
    --------
    >>> ten_watts = power_from_points([4.0, 300.0], [10.0, 10.0])
    >>> copper = ColdMass("copper-rrr-100", 5.0)
    >>> round(cooling_time_s([copper], ten_watts, 300.0, 77.0).middle / 3600.0, 2)
    10.41

    References
    ----------
    Conservation of energy; specific heats as the materials say.
    """
    T_K, power_W = _way_down(power, hot_K, cold_K)
    mean_W = _logarithmic_mean(power_W[:, 0], power_W[:, 1])
    parts = []
    for mass in masses:
        given_up = find_material(mass.material).enthalpy_J_kg(T_K[:-1], T_K[1:])
        parts.append(_with_specific_heat(mass, float(np.sum(given_up / mean_W))))
    return _widened(together(parts), power.relative_uncertainty)


def added_mass_delay_s(added: ColdMass, power: NetPower, hot_K: float, cold_K: float) -> Band:
    """How much longer a cooldown takes with one more mass on the stage.

    m ∫ c dT / P: it does not depend on what else is there, as long as the power does not change.

    Parameters
    ----------
    added : ColdMass
        The added mass.
    power : NetPower
        Net cooling power of the stage.
    hot_K, cold_K : float
        Where the cooldown starts and where it shall get [K].

    Returns
    -------
    Band
        Added time [s].

    Raises
    ------
    OutOfRange, NoData, Unphysical
        As `cooling_time_s`.

    Examples
    --------
    >>> ten_watts = power_from_points([4.0, 300.0], [10.0, 10.0])
    >>> round(added_mass_delay_s(ColdMass("brass", 0.1), ten_watts, 300.0, 77.0).middle / 60.0)
    Traceback (most recent call last):
    server.physics.errors.NoData: There are no data for the specific heat of brass.
    >>> round(added_mass_delay_s(ColdMass("copper-rrr-100", 0.1), ten_watts, 300.0, 77.0).middle / 60.0)
    12

    References
    ----------
    Conservation of energy; specific heats as the materials say.
    """
    return cooling_time_s([added], power, hot_K, cold_K)


def cooldown_times(
    masses: Sequence[ColdMass],
    power: NetPower,
    hot_K: float,
    base_K: float,
    targets_K: Sequence[float] = USUAL_TARGETS_K,
) -> tuple[CooldownTime, ...]:
    """When a stage reaches each target, and its base.

    Parameters
    ----------
    masses : sequence of ColdMass
        What is cooled.
    power : NetPower
        Net cooling power of the stage.
    hot_K : float
        Where it starts [K].
    base_K : float
        Where it is called cold [K]; a little above where the power vanishes, which is never reached.
    targets_K : sequence of float, optional
        Temperatures on the way [K]; those not between start and base are left out.

    Returns
    -------
    tuple of CooldownTime
        Hottest first, the base last. A time that cannot be told is None, with its reason.

    Raises
    ------
    NoData
        When a mass has no specific heat.
    Unphysical
        When the base is not below the start.

    Examples
    --------
    >>> points = power_from_points([3.0, 40.0, 300.0], [0.0, 30.0, 60.0])
    >>> times = cooldown_times([ColdMass("copper-rrr-100", 10.0)], points, 295.0, 3.2)
    >>> [time.target_K for time in times]
    [100.0, 50.0, 10.0, 3.2]

    References
    ----------
    Conservation of energy; specific heats as the materials say.
    """
    on_the_way = sorted((T_K for T_K in targets_K if base_K < T_K < hot_K), reverse=True)
    return tuple(_when(masses, power, hot_K, target_K) for target_K in [*on_the_way, base_K])


def _when(masses: Sequence[ColdMass], power: NetPower, hot_K: float, target_K: float) -> CooldownTime:
    try:
        return CooldownTime(target_K, cooling_time_s(masses, power, hot_K, target_K))
    except OutOfRange as refusal:
        return CooldownTime(target_K, None, str(refusal))


def _first_reached(time_s: Sequence[float], T_K: Sequence[float]) -> tuple[Array, Array]:
    """The readings that are colder than all before them, and their times."""
    times, temperatures = np.asarray(time_s, dtype=float), np.asarray(T_K, dtype=float)
    if len(times) != len(temperatures) or len(times) < 2:
        raise Unphysical("Give at least two readings, each with its time.")
    check_positive(T_K=temperatures)
    if not (np.isfinite(times).all() and (np.diff(times) > 0.0).all()):
        raise Unphysical("The times of the readings must rise from line to line.")
    colder = np.concatenate(([True], temperatures[1:] < np.minimum.accumulate(temperatures)[:-1]))
    if colder.sum() < 2:
        raise Unphysical("Nothing got colder in these readings.")
    return temperatures[colder], times[colder]


def _marks(falling_K: Array, reached_s: Array) -> tuple[Array, Array]:
    """Where to cut the way down: at the readings, or of many at equal steps of ln T."""
    if len(falling_K) <= _MOST_MARKS:
        return falling_K, reached_s
    marks_K = np.geomspace(falling_K[0], falling_K[-1], _MOST_MARKS)
    marks_K[-1] = falling_K[-1]
    return marks_K, np.interp(-marks_K, -falling_K, reached_s)


def _way_down(power: NetPower, hot_K: float, cold_K: float) -> tuple[Array, Array]:
    """A grid from cold to hot that holds every edge of the power, and the power at both ends of each cell."""
    check_positive(cold_K=cold_K, temperature_fall_K=hot_K - cold_K)
    low_K, high_K = power.edges_K[0], power.edges_K[-1]
    if not low_K <= cold_K < hot_K <= high_K:
        asked = f"{hot_K:g} to {cold_K:g} K"
        raise OutOfRange(f"The net power is known from {low_K:g} to {high_K:g} K, not for {asked}.")
    edges = [cold_K, *(edge for edge in power.edges_K if cold_K < edge < hot_K), hot_K]
    cells = (max(1, math.ceil(math.log(hot / cold) / _WIDEST_CELL)) for cold, hot in pairwise(edges))
    stretches = [
        np.geomspace(cold, hot, n + 1)[:-1] for (cold, hot), n in zip(pairwise(edges), cells, strict=True)
    ]
    T_K = np.concatenate([*stretches, [hot_K]])
    power_W = _power_at_ends_W(power, T_K)
    used_up = T_K[:-1][power_W.min(axis=1) <= 0.0]
    if used_up.size:
        raise OutOfRange(f"The net power is used up at {used_up.max():.3g} K: it never gets to {cold_K:g} K.")
    return T_K, power_W


def _power_at_ends_W(power: NetPower, T_K: Array) -> Array:
    """Power at the cold and the hot end of every cell; a cell lies in one stretch."""
    edges = np.array(power.edges_K)
    stretch = np.clip(np.searchsorted(edges, (T_K[1:] + T_K[:-1]) / 2.0) - 1, 0, len(edges) - 2)
    slope = (np.array(power.hot_W) - power.cold_W) / np.diff(edges)
    ends_K = np.stack([T_K[:-1], T_K[1:]], axis=1)
    return np.asarray(
        np.array(power.cold_W)[stretch, None] + slope[stretch, None] * (ends_K - edges[stretch, None])
    )


def _logarithmic_mean(a: Array, b: Array) -> Array:
    """(b − a)/ln(b/a), which is exact for 1/P where P is straight."""
    ratio = np.log(b / a)
    small = np.abs(ratio) < 1e-6
    return np.where(small, (a + b) / 2.0, (b - a) / np.where(small, 1.0, ratio))


def _with_specific_heat(mass: ColdMass, per_kg: float) -> Band:
    """A quantity per kilogram times the mass, with the uncertainty of both."""
    check_not_negative(mass_kg=np.array([end for end in _ends(mass.mass_band_kg) if end is not None]))
    relative = find_material(mass.material).about("specific_heat").relative_uncertainty
    return _widened(mass.mass_band_kg.scaled(per_kg), relative)


def _ends(band: Band) -> tuple[float | None, float | None, float | None]:
    return band.low, band.best, band.high


def _widened(band: Band, relative: float) -> Band:
    """A band of a positive quantity with one more relative uncertainty, independent of its own."""
    low, best, high = _ends(band)
    middle = band.middle
    return Band(
        None
        if low is None
        else max(0.0, middle - math.hypot(middle - low, middle - middle / (1.0 + relative))),
        best,
        None if high is None else middle + math.hypot(high - middle, middle * relative),
    )
