"""Lags: how long a run must be clamped to a stage, and at what temperature it leaves a clamp of given length.

A wire in a lag is a fin: conduction along it against contact across its filler. What the fillers conduct per
length is an estimate, good to a factor of two in length; the fin itself is exact for k(T).
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, overload

import numpy as np

from server.physics.arguments import Value, check_not_negative, check_positive, in_kind
from server.physics.errors import UnknownMaterial, Unphysical
from server.physics.materials import Material, material
from server.physics.materials.arrays import Array, Function
from server.physics.statistics import Band

LENGTH_FACTOR = 2.0
"""An estimated lag length is good to this factor either way: common practice, no source."""

_STEPS = 4000
_DEPTHS = (1e-9, 50.0)
"""Between these, in ln(θ0/θ), a lag's effect is sought: less is none at all, more is all of it."""


@dataclass(frozen=True)
class LagConductances:
    r"""What one lag between two free spans does to the heat of a run, as a linear two-port.

    With u the conductivity integral from the stage's temperature to that of the warmer or the colder end of
    the spans, and A the metal's area, q_in = A (hot u_hot − through u_cold) arrives from the warm side and
    q_out = A (through u_hot − cold u_cold) goes on to the cold side; the stage takes the difference.

    Attributes
    ----------
    hot_per_m, through_per_m, cold_per_m : float or array
        The three coefficients [1/m].
    """

    hot_per_m: Value
    through_per_m: Value
    cold_per_m: Value


def lag_fillers() -> tuple[str, ...]:
    """What a lag may be filled with, best first.

    Returns
    -------
    tuple of str
        Names of fillers; ``none`` is a dry clamp.

    Examples
    --------
    >>> lag_fillers()
    ('varnish', 'grease', 'thin-tape', 'none')
    """
    return tuple(_data()["fillers"])


def lag_contact_W_m_K(filler: str, temperature_K: float) -> Band:
    r"""Conductance from a wire through the filler of its lag, per length of wire.

    .. math:: g' = c\,k_f(T)

    Parameters
    ----------
    filler : str
        One of `lag_fillers()`, or ``unknown``.
    temperature_K : float
        Temperature of the filler, above zero; held below 1 K and above 300 K [K].

    Returns
    -------
    Band
        Conductance per length: a factor of four either way, nine for a dry clamp; for ``unknown`` only the
        range [W/(m K)].

    Raises
    ------
    UnknownMaterial
        When there is no such filler.
    Unphysical
        When the temperature is not above zero.

    Notes
    -----
    From memory, fitted to lag lengths of fine wires. The centre of a coax is lagged only through its
    dielectric: `coaxial_contact_W_m_K`. Varnish needs 12 to 24 hours to dry.

    Examples
    --------
    >>> lag_contact_W_m_K("varnish", 77.0).best
    0.55
    >>> lag_contact_W_m_K("unknown", 77.0).best is None
    True

    References
    ----------
    J. G. Hust, Rev. Sci. Instrum. 41 (1970) 622, for the model; the values as the data file says.
    """
    check_positive(temperature_K=temperature_K)
    if filler == "unknown":
        best, worst = (lag_contact_W_m_K(name, temperature_K) for name in ("varnish", "none"))
        return Band(worst.low, None, best.high)
    contact_W_m_K = float(_contact(filler)(np.array(temperature_K)))
    return Band.within_factor(contact_W_m_K, _filler(filler)["contact_factor"])


def flat_contact_W_m_K(
    wire_contact_W_m_K: float, width_m: float, film_m: float = 0.0, film_conductivity_W_m_K: float = 1.0
) -> float:
    r"""Conductance from a flat conductor through the filler of its lag and a film, per length, from one side.

    .. math:: g' = \frac{w}{t_f/k_f + t_b/k_b}, \quad k_f = g'_{wire}/c

    Parameters
    ----------
    wire_contact_W_m_K : float
        What the same filler conducts to a fine wire, above zero [W/(m K)].
    width_m : float
        Width of the conductor, above zero [m].
    film_m : float, optional
        Thickness of the film between conductor and filler, not negative [m].
    film_conductivity_W_m_K : float, optional
        Conductivity of that film, above zero [W/(m K)].

    Returns
    -------
    float
        Conductance per length; an order of magnitude, as that of the filler is [W/(m K)].

    Raises
    ------
    Unphysical
        When a number is not above zero, or the thickness negative.

    Notes
    -----
    The filler is taken as 50 µm thick (from memory). What is clamped from both sides conducts twice this.

    Examples
    --------
    A trace of 0.3 mm in varnish at 77 K is held like a wire, a ground plane of 10 mm much better:

    >>> flat_contact_W_m_K(0.55, 0.3e-3), flat_contact_W_m_K(0.55, 10e-3)
    (1.32, 44.0)

    References
    ----------
    H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, slabs in series.
    """
    check_positive(
        wire_contact_W_m_K=wire_contact_W_m_K,
        width_m=width_m,
        film_conductivity_W_m_K=film_conductivity_W_m_K,
    )
    check_not_negative(film_m=film_m)
    filler_W_m_K = wire_contact_W_m_K / float(_data()["shape_factor"])
    return width_m / (float(_data()["thickness_m"]) / filler_W_m_K + film_m / film_conductivity_W_m_K)


def coaxial_contact_W_m_K(conductivity_W_m_K: float, inner_m: float, outer_m: float) -> float:
    r"""Conductance through a round sleeve of insulation, per length.

    .. math:: g' = \frac{2 \pi k}{\ln(r_o/r_i)}

    Parameters
    ----------
    conductivity_W_m_K : float
        Conductivity of the insulation at its temperature, above zero [W/(m K)].
    inner_m, outer_m : float
        Diameter, or radius, inside and outside; the outer above the inner, the inner above zero [m].

    Returns
    -------
    float
        Conductance per length [W/(m K)].

    Raises
    ------
    Unphysical
        When a number is not above zero or the sleeve has no thickness.

    Examples
    --------
    >>> coaxial_contact_W_m_K(0.25, 0.5e-3, 1.7e-3)
    1.2836

    References
    ----------
    H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, the hollow cylinder.
    """
    check_positive(conductivity_W_m_K=conductivity_W_m_K, inner_m=inner_m, outer_m=outer_m)
    if outer_m <= inner_m:
        raise Unphysical("outer_m must be above inner_m.")
    return 2.0 * math.pi * conductivity_W_m_K / math.log(outer_m / inner_m)


def lag_length_m(
    material: str | Material,
    area_m2: float,
    contact_W_m_K: float,
    start_K: float,
    stage_K: float,
    tolerance_K: float,
) -> float:
    r"""Length of lag after which a run is within a tolerance of the temperature of its stage.

    .. math:: L = \int_\delta^{\theta_0} \frac{k A}{q}\,d\theta, \quad
              q(\theta) = \sqrt{2 A g' \int_0^\theta t\,k(T_s + t)\,dt}

    Parameters
    ----------
    material : str or Material
        The metal of the run.
    area_m2 : float
        Its cross section, above zero [m²].
    contact_W_m_K : float
        Conductance to the stage per length, above zero [W/(m K)].
    start_K, stage_K : float
        Temperature at which the run enters the lag, and of the stage; above zero [K].
    tolerance_K : float
        How near is near enough, above zero [K].

    Returns
    -------
    float
        Length, within 1e-5 of the integral; zero for a run that enters within the tolerance [m].

    Raises
    ------
    Unphysical
        When a number is not above zero.
    UnknownMaterial, NoData, OutOfRange
        When the conductivity is not known over the whole span.

    Notes
    -----
    The lag is taken as endless: no heat goes on beyond it. For constant k this is ln(θ0/δ)/m with
    m = √(g'/(k A)). A contact that is an estimate makes the length one: good to a factor of two.

    Examples
    --------
    >>> from server.physics.materials import constant_material
    >>> lag_length_m(constant_material(400.0), 0.032e-6, 0.5, 300.0, 80.0, 1e-3)
    0.06224

    References
    ----------
    J. G. Hust, Rev. Sci. Instrum. 41 (1970) 622.
    """
    check_positive(contact_W_m_K=contact_W_m_K)

    def constant(T_K: Array) -> Array:
        return np.full_like(T_K, contact_W_m_K)

    return _endless_m(material, area_m2, constant, start_K, stage_K, tolerance_K)


def estimated_lag_length_m(
    material: str | Material,
    area_m2: float,
    filler: str,
    start_K: float,
    stage_K: float,
    tolerance_K: float,
) -> Band:
    r"""Length of lag in a filler, as an estimate good to a factor of two.

    As `lag_length_m`, with the contact g'(T) of the filler inside the integral.

    Parameters
    ----------
    material : str or Material
        The metal of the run.
    area_m2 : float
        Its cross section, above zero [m²].
    filler : str
        One of `lag_fillers()`.
    start_K, stage_K : float
        Temperature at which the run enters the lag, and of the stage; above zero [K].
    tolerance_K : float
        How near is near enough, above zero [K].

    Returns
    -------
    Band
        Half to twice the best estimate; a third to three times for a dry clamp [m].

    Raises
    ------
    Unphysical
        When a number is not above zero.
    UnknownMaterial, NoData, OutOfRange
        When there is no such filler, or the conductivity is not known over the whole span.

    Notes
    -----
    A lag only counts what is really under it: the wire and not only its sleeve, in contact all along.

    Examples
    --------
    >>> band = estimated_lag_length_m("phosphor-bronze", 0.0127e-6, "varnish", 300.0, 80.0, 1e-3)
    >>> band.low < 0.006 < band.high
    True

    References
    ----------
    J. G. Hust, Rev. Sci. Instrum. 41 (1970) 622; contacts as the data file says.
    """
    best_m = _endless_m(material, area_m2, _contact(filler), start_K, stage_K, tolerance_K)
    return Band.within_factor(best_m, math.sqrt(_filler(filler)["contact_factor"]))


def lag_leaving_K(
    material: str | Material,
    area_m2: float,
    contact_W_m_K: float,
    length_m: float,
    start_K: float,
    stage_K: float,
) -> float:
    r"""Temperature at which a run leaves a lag of a given length.

    The fin equation d/dx (k A dT/dx) = g' (T − T_s) with no heat going on at the end; for constant k

    .. math:: T_{end} - T_s = \frac{T_0 - T_s}{\cosh(m L)}, \quad m = \sqrt{g'/(k A)}

    Parameters
    ----------
    material : str or Material
        The metal of the run.
    area_m2 : float
        Its cross section, above zero [m²].
    contact_W_m_K : float
        Conductance to the stage per length, above zero [W/(m K)].
    length_m : float
        Length under the clamp, zero or above [m].
    start_K, stage_K : float
        Temperature at which the run enters the lag, and of the stage; above zero [K].

    Returns
    -------
    float
        Temperature at the end of the lag, between those two [K].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.
    UnknownMaterial, NoData, OutOfRange
        When the conductivity is not known over the whole span.

    Examples
    --------
    >>> from server.physics.materials import constant_material
    >>> lag_leaving_K(constant_material(400.0), 0.032e-6, 0.5, 0.010, 300.0, 80.0)
    139.8

    References
    ----------
    H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, the thin rod; solved here for k(T) by its first
    integral.
    """
    check_positive(contact_W_m_K=contact_W_m_K)

    def constant(T_K: Array) -> Array:
        return np.full_like(T_K, contact_W_m_K)

    return _leaving_K(material, area_m2, constant, length_m, start_K, stage_K)


def estimated_lag_leaving_K(
    material: str | Material,
    area_m2: float,
    filler: str,
    length_m: float,
    start_K: float,
    stage_K: float,
) -> Band:
    """Temperature at which a run leaves a lag in a filler, as an estimate.

    As `lag_leaving_K`, with the contact g'(T) of the filler; the band is that of lags half and twice as long
    (a third and three times for a dry clamp).

    Parameters
    ----------
    material : str or Material
        The metal of the run.
    area_m2 : float
        Its cross section, above zero [m²].
    filler : str
        One of `lag_fillers()`.
    length_m : float
        Length under the clamp, zero or above [m].
    start_K, stage_K : float
        Temperature at which the run enters the lag, and of the stage; above zero [K].

    Returns
    -------
    Band
        Temperature at the end of the lag [K].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.
    UnknownMaterial, NoData, OutOfRange
        When there is no such filler, or the conductivity is not known over the whole span.

    Examples
    --------
    >>> dry = estimated_lag_leaving_K("phosphor-bronze", 1.27e-8, "none", 0.003, 300.0, 35.0)
    >>> greased = estimated_lag_leaving_K("phosphor-bronze", 1.27e-8, "grease", 0.02, 300.0, 35.0)
    >>> round(dry.best), round(greased.best)
    (241, 35)

    References
    ----------
    J. G. Hust, Rev. Sci. Instrum. 41 (1970) 622; contacts as the data file says.
    """
    factor = math.sqrt(_filler(filler)["contact_factor"])
    best, one, other = (
        _leaving_K(material, area_m2, _contact(filler), length_m * scale, start_K, stage_K)
        for scale in (1.0, factor, 1.0 / factor)
    )
    return Band(min(one, other), best, max(one, other))


@overload
def fraction_not_taken(
    conductivity_W_m_K: float, area_m2: float, contact_W_m_K: float, length_m: float
) -> float: ...
@overload
def fraction_not_taken(
    conductivity_W_m_K: Value, area_m2: Value, contact_W_m_K: Value, length_m: Value
) -> Value: ...
def fraction_not_taken(
    conductivity_W_m_K: Value, area_m2: Value, contact_W_m_K: Value, length_m: Value
) -> Value:
    r"""Share of the excess temperature that is left at the end of a lag, with constant conductivity.

    .. math:: \frac{T_{end} - T_s}{T_0 - T_s} = \frac{1}{\cosh(m L)}, \quad m = \sqrt{\frac{g'}{k A}}

    Parameters
    ----------
    conductivity_W_m_K : float or array
        Mean conductivity of the run in the lag, above zero [W/(m K)].
    area_m2 : float or array
        Its cross section, above zero [m²].
    contact_W_m_K : float or array
        Conductance to the stage per length, above zero [W/(m K)].
    length_m : float or array
        Length under the clamp, zero or above [m].

    Returns
    -------
    float or array
        Between 0, all taken, and 1, nothing taken [1].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Examples
    --------
    >>> fraction_not_taken(400.0, 0.032e-6, 0.5, 0.010)
    0.2719

    References
    ----------
    H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, the thin rod.
    """
    m = _fin_per_m(conductivity_W_m_K, area_m2, contact_W_m_K)
    check_not_negative(length_m=length_m)
    return in_kind(_sech(m * np.asarray(length_m, dtype=float)))


def lag_conductances(
    conductivity_W_m_K: Value,
    area_m2: Value,
    contact_W_m_K: Value,
    lag_m: Value,
    before_m: Value,
    after_m: Value,
) -> LagConductances:
    r"""How a lag between two free spans shares the heat of a run between its stage and what is colder.

    .. math:: hot = \frac{1 + m b t}{D}, \quad through = \frac{s}{D}, \quad cold = \frac{1 + m a t}{D},
              \quad D = a + b + \frac{t}{m} + m a b t

    with a and b the free lengths before and after, t = tanh(m L) and s = 1/cosh(m L).

    Parameters
    ----------
    conductivity_W_m_K : float or array
        Mean conductivity of the run in the lag, above zero [W/(m K)].
    area_m2 : float or array
        Its cross section, above zero [m²].
    contact_W_m_K : float or array
        Conductance to the stage per length, above zero [W/(m K)].
    lag_m : float or array
        Length under the clamp, zero or above; zero is a run that passes the stage by [m].
    before_m, after_m : float or array
        Free length on the warm and on the cold side, zero or above, not all three zero [m].

    Returns
    -------
    LagConductances
        Coefficients to be used with conductivity integrals, so that the free spans are exact for k(T) [1/m].

    Raises
    ------
    Unphysical
        When an argument is out of its range or not a number.

    Notes
    -----
    A long lag gives 1/before and 1/after and lets nothing through; no lag gives 1/(before + after) for all
    three. Inside the lag k is constant; the free spans are exact.

    Examples
    --------
    >>> lag = lag_conductances(30.0, 1.27e-8, 0.3, 0.0, 0.30, 0.15)
    >>> lag.hot_per_m, lag.through_per_m, lag.cold_per_m
    (2.222, 2.222, 2.222)
    >>> lag = lag_conductances(30.0, 1.27e-8, 0.3, 0.1, 0.30, 0.15)
    >>> lag.hot_per_m, lag.through_per_m, lag.cold_per_m
    (3.32, 0.0, 6.6)

    References
    ----------
    Derived from the fin equation between two spans in the variable of Kirchhoff, ∫ k dT.
    """
    check_not_negative(lag_m=lag_m, before_m=before_m, after_m=after_m)
    m = _fin_per_m(conductivity_W_m_K, area_m2, contact_W_m_K)
    before, after = np.asarray(before_m, dtype=float), np.asarray(after_m, dtype=float)
    x = m * np.asarray(lag_m, dtype=float)
    t = np.tanh(x)
    D = before + after + t / m + m * before * after * t
    if not np.all(D > 0.0):
        raise Unphysical("lag_m, before_m and after_m must not all be zero.")
    parts = (1.0 + m * after * t, _sech(x), 1.0 + m * before * t)
    return LagConductances(*(in_kind(part / D) for part in parts))


def _fin_per_m(conductivity_W_m_K: Value, area_m2: Value, contact_W_m_K: Value) -> Array:
    given = {"conductivity_W_m_K": conductivity_W_m_K, "area_m2": area_m2, "contact_W_m_K": contact_W_m_K}
    check_positive(**given)
    return np.asarray(np.sqrt(contact_W_m_K / (np.asarray(conductivity_W_m_K) * area_m2)))


def _sech(x: Array) -> Array:
    """1/cosh, which does not overflow."""
    return np.asarray(2.0 * np.exp(-x) / (1.0 + np.exp(-2.0 * x)))


def _endless_m(
    name_or_object: str | Material,
    area_m2: float,
    contact: Function,
    start_K: float,
    stage_K: float,
    tolerance_K: float,
) -> float:
    """Length of an endless lag, by its first integral on a grid that is even in ln θ."""
    check_positive(area_m2=area_m2, start_K=start_K, stage_K=stage_K, tolerance_K=tolerance_K)
    excess_K, sign = abs(start_K - stage_K), math.copysign(1.0, start_K - stage_K)
    if excess_K <= tolerance_K:
        return 0.0
    near = np.linspace(0.0, tolerance_K, 65)[:-1]
    theta = np.concatenate([near, np.geomspace(tolerance_K, excess_K, _STEPS + 1)])
    T_K = np.clip(stage_K + sign * theta, min(start_K, stage_K), max(start_K, stage_K))
    k = material(name_or_object).conductivity_W_m_K(T_K)
    work = _summed(theta * contact(T_K) * k, theta)
    far = slice(len(near), None)
    log = np.log(theta[far])
    return float(_summed(theta[far] * k[far] * area_m2 / np.sqrt(2.0 * area_m2 * work[far]), log)[-1])


def _leaving_K(
    name_or_object: str | Material,
    area_m2: float,
    contact: Function,
    length_m: float,
    start_K: float,
    stage_K: float,
) -> float:
    """End temperature of a lag whose end passes nothing on: the one whose length is the given one."""
    check_positive(area_m2=area_m2, start_K=start_K, stage_K=stage_K)
    check_not_negative(length_m=length_m)
    solid, excess_K = material(name_or_object), start_K - stage_K
    solid.conductivity_W_m_K(np.array([start_K, stage_K]))
    shallow, deep = _DEPTHS
    for _ in range(45):
        depth = (shallow + deep) / 2.0
        if _length_at_depth_m(solid, area_m2, contact, depth, excess_K, stage_K) < length_m:
            shallow = depth
        else:
            deep = depth
    return stage_K + excess_K * math.exp(-shallow)


def _length_at_depth_m(
    solid: Material, area_m2: float, contact: Function, depth: float, excess_K: float, stage_K: float
) -> float:
    """Length of lag that brings the excess down to e^−depth of what it was.

    θ = θ_end cosh u makes the integrand smooth: at u = 0, where q is zero, it is √(k A/g').
    """
    u = np.linspace(0.0, math.acosh(math.exp(depth)), 1601)
    end_K = excess_K * math.exp(-depth)
    T_K = stage_K + np.clip(np.cosh(u) * math.exp(-depth), 0.0, 1.0) * excess_K
    k, g = solid.conductivity_W_m_K(T_K), contact(T_K)
    work = _summed(end_K**2 * np.cosh(u) * np.sinh(u) * g * k, u)
    slope = np.empty_like(u)
    slope[0] = math.sqrt(k[0] * area_m2 / g[0])
    slope[1:] = k[1:] * area_m2 * abs(end_K) * np.sinh(u[1:]) / np.sqrt(2.0 * area_m2 * work[1:])
    return float(_summed(slope, u)[-1])


def _summed(values: Array, at: Array) -> Array:
    """The integral from the first point to each, by the trapezium rule."""
    steps = (values[1:] + values[:-1]) / 2.0 * np.diff(at)
    return np.concatenate(([0.0], np.cumsum(steps)))


def _contact(filler: str) -> Function:
    """Best estimate of the contact of a filler against temperature."""
    knots, values = np.log(_data()["T_K"]), np.log(_filler(filler)["conductivity_W_m_K"])
    shape = _data()["shape_factor"]
    return lambda T_K: np.asarray(shape * np.exp(np.interp(np.log(T_K), knots, values)))


def _filler(name: str) -> Mapping[str, Any]:
    fillers: Mapping[str, Mapping[str, Any]] = _data()["fillers"]
    if name not in fillers:
        raise UnknownMaterial(f"There is no filler of lags called '{name}'.")
    return fillers[name]


@cache
def _data() -> Mapping[str, Any]:
    path = files("server.physics.thermal") / "data" / "lags.json"
    found: Mapping[str, Any] = json.loads(path.read_text("utf-8"))
    return found
