"""Heat across pressed joints: by force, filler and temperature; and through whole mounts.

A cold pressed joint conducts by its force and not by its area, and worse the colder it is. What is tabulated
are orders of magnitude from memory, good to a factor of three; a measured resistance beats all of them.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from server.physics.arguments import check_positive
from server.physics.errors import UnknownMaterial
from server.physics.statistics import Band

LORENZ_W_ohm_K2 = 2.44300e-8
"""Lorenz number of free electrons, π²/3 (k/e)² (CODATA 2018)."""

LAW_HOLDS_K = (1.0, 20.0)
"""The power laws in temperature are followed between these, and held beyond them [K]."""


@dataclass(frozen=True)
class JointLaw:
    r"""How a pressed joint conducts: K = K_ref (F/F_ref)^a (T/T_ref)^n.

    Attributes
    ----------
    reference_W_K : Band
        Conductance at the reference force and temperature [W/K].
    reference_N : float
        Reference force [N].
    reference_K : float
        Reference temperature [K].
    force_exponent : Band
        The exponent a [1].
    temperature_exponent : Band
        The exponent n [1].
    """

    reference_W_K: Band
    reference_N: float
    reference_K: float
    force_exponent: Band
    temperature_exponent: Band


def joint_fillers() -> tuple[str, ...]:
    """What a pressed joint may be filled with.

    Returns
    -------
    tuple of str
        Names of fillers.

    Examples
    --------
    >>> joint_fillers()
    ('dry', 'greased', 'indium')
    """
    return tuple(_data()["laws"])


def joint_metals() -> tuple[str, ...]:
    """What the faces of a pressed joint may be made of; ``gold`` is gold plate on both.

    Returns
    -------
    tuple of str
        Names of metals.

    Examples
    --------
    >>> joint_metals()
    ('copper', 'gold', 'aluminium', 'stainless')
    """
    return tuple(_data()["laws"]["dry"]["conductance_W_K"])


def joint_law(filler: str, metal: str) -> JointLaw:
    """The law of a pressed joint.

    Parameters
    ----------
    filler : str
        One of `joint_fillers()`.
    metal : str
        One of `joint_metals()`.

    Returns
    -------
    JointLaw
        Its constants, good to a factor of three.

    Raises
    ------
    UnknownMaterial
        When filler or metal is none of those.

    Examples
    --------
    >>> joint_law("dry", "copper").reference_W_K.best
    0.01

    References
    ----------
    J. W. Ekin, Experimental Techniques for Low-Temperature Measurements, Fig. 2.7, from memory;
    L. J. Salerno, P. Kittel, A. L. Spivak, Cryogenics 34 (1994), abstract.
    """
    data = _data()
    if filler not in data["laws"]:
        raise UnknownMaterial(f"There is no joint filler called '{filler}'.")
    law = data["laws"][filler]
    if metal not in law["conductance_W_K"]:
        raise UnknownMaterial(f"There are no values for joints of '{metal}'.")
    return JointLaw(
        Band.within_factor(law["conductance_W_K"][metal], data["spread_factor"]),
        data["reference_force_N"],
        data["reference_K"],
        Band(*law["force_exponent"]),
        Band(*law["temperature_exponent"][metal]),
    )


def joint_conductance_W_K(filler: str, force_N: float, temperature_K: float, metal: str) -> Band:
    r"""Conductance of a pressed joint.

    .. math:: K = K_{ref} (F/F_{ref})^a (T/T_{ref})^n

    Parameters
    ----------
    filler : str
        One of `joint_fillers()`.
    force_N : float
        All screws together, above zero [N].
    temperature_K : float
        Temperature of the joint, above zero; the law is held below 1 K and above 20 K [K].
    metal : str
        One of `joint_metals()`.

    Returns
    -------
    Band
        Conductance; the factor of three and the spread of both exponents, in quadrature [W/K].

    Raises
    ------
    UnknownMaterial
        When filler or metal is none of those.
    Unphysical
        When force or temperature is not above zero.

    Notes
    -----
    The area does not count, the force does. Published joints were measured with 22 to 670 N between 1.6 and
    6 K. A plated washer between bare faces gains nothing; grease on gold can be worse than dry gold.

    Examples
    --------
    >>> joint_conductance_W_K("dry", 445.0, 4.2, "copper")
    Band(low=0.00333, best=0.01, high=0.03)
    >>> joint_conductance_W_K("greased", 445.0, 4.2, "copper").best
    0.1

    References
    ----------
    J. W. Ekin, Experimental Techniques for Low-Temperature Measurements, Fig. 2.7, from memory;
    L. J. Salerno, P. Kittel, A. L. Spivak, Cryogenics 34 (1994), abstract.
    """
    check_positive(force_N=force_N, temperature_K=temperature_K)
    law = joint_law(filler, metal)
    force = _power(law.force_exponent, math.log(force_N / law.reference_N))
    warmth = _power(law.temperature_exponent, math.log(_held(temperature_K) / law.reference_K))
    assert law.reference_W_K.best is not None
    best_W_K = law.reference_W_K.best * math.exp(force[1] + warmth[1])
    unsure = math.log(_data()["spread_factor"])
    down, up = math.hypot(unsure, force[0], warmth[0]), math.hypot(unsure, force[2], warmth[2])
    return Band(best_W_K * math.exp(-down), best_W_K, best_W_K * math.exp(up))


def mount_states() -> tuple[str, ...]:
    """What `mount_resistance_K_W` knows a mount to be.

    Returns
    -------
    tuple of str
        Names of states; ``dry`` is also loose.

    Examples
    --------
    >>> mount_states()
    ('greased', 'indium', 'dry', 'unknown')
    """
    return tuple(_data()["mounts"]["resistance_K_W"])


def mount_resistance_K_W(filler: str, temperature_K: float) -> Band:
    r"""Resistance of a whole mount, from the sample to the platform, when nobody measured it.

    .. math:: R = R_4 (4\,\mathrm{K}/T)^n

    Parameters
    ----------
    filler : str
        One of `mount_states()`.
    temperature_K : float
        Temperature of the mount, above zero; the law is held below 1 K and above 20 K [K].

    Returns
    -------
    Band
        Resistance; for ``unknown`` only the range [K/W].

    Raises
    ------
    UnknownMaterial
        When there is no such state of a mount.
    Unphysical
        When the temperature is not above zero.

    Notes
    -----
    Mounts conduct better as they warm, so a large rise worked out with the cold value is too large. The true
    spread between mounts is a factor of ten: measure yours, base temperature against known heater power.

    Examples
    --------
    >>> mount_resistance_K_W("greased", 4.0)
    Band(low=10.0, best=40.0, high=60.0)
    >>> mount_resistance_K_W("dry", 8.0).best
    150.0

    References
    ----------
    Common practice, no source; the exponent (0 to 2) from memory.
    """
    check_positive(temperature_K=temperature_K)
    data = _data()["mounts"]
    if filler not in data["resistance_K_W"]:
        raise UnknownMaterial(f"There is no state of a mount called '{filler}'.")
    low, best, high = data["resistance_K_W"][filler]
    warmth = math.log(_held(temperature_K) / data["reference_K"])
    below, middle, above = _power(Band(*data["temperature_exponent"]), -warmth)
    at_4_K = best or math.sqrt(low * high)
    down, up = math.hypot(math.log(at_4_K / low), below), math.hypot(math.log(high / at_4_K), above)
    here = at_4_K * math.exp(middle)
    return Band(here * math.exp(-down), here if best else None, here * math.exp(up))


def electronic_limit_W_K(resistance_ohm: float, temperature_K: float) -> float:
    r"""Conductance of a clean metallic joint from its electrical resistance.

    .. math:: K = L_0 T/R

    Parameters
    ----------
    resistance_ohm : float
        Electrical resistance of the joint, measured cold, above zero [Ω].
    temperature_K : float
        Temperature of the joint, above zero [K].

    Returns
    -------
    float
        Conductance by electrons alone: no less than this, for gold on gold, solder or a weld [W/K].

    Raises
    ------
    Unphysical
        When a number is not above zero.

    Examples
    --------
    >>> electronic_limit_W_K(1e-6, 4.2)
    0.1026

    References
    ----------
    F. Pobell, Matter and Methods at Low Temperatures (Wiedemann-Franz law).
    """
    check_positive(resistance_ohm=resistance_ohm, temperature_K=temperature_K)
    return LORENZ_W_ohm_K2 * temperature_K / resistance_ohm


def spot_conductance_W_K(force_N: float, hardness_Pa: float, conductivity_W_m_K: float) -> float:
    r"""Conductance of one metallic spot pressed flat by a force.

    .. math:: K = 2 k a, \quad a = \sqrt{\frac{F}{\pi H}}

    Parameters
    ----------
    force_N : float
        Force on the spot, above zero [N].
    hardness_Pa : float
        Hardness of the softer face, above zero [Pa].
    conductivity_W_m_K : float
        Thermal conductivity of both faces, above zero [W/(m K)].

    Returns
    -------
    float
        Conductance of the constriction [W/K].

    Raises
    ------
    Unphysical
        When a number is not above zero.

    Notes
    -----
    Clean metal on clean metal; an oxide or a film conducts less.

    Examples
    --------
    >>> spot_conductance_W_K(445.0, 1e9, 320.0)
    0.241

    References
    ----------
    R. Holm, Electric Contacts: Theory and Application.
    """
    given = {"force_N": force_N, "hardness_Pa": hardness_Pa}
    check_positive(**given, conductivity_W_m_K=conductivity_W_m_K)
    return 2.0 * conductivity_W_m_K * math.sqrt(force_N / (math.pi * hardness_Pa))


def rough_contact_W_m2_K(
    conductivity_W_m_K: float,
    slope: float,
    roughness_m: float,
    pressure_Pa: float,
    hardness_Pa: float,
) -> float:
    r"""Conductance by area of two rough faces in vacuum near room temperature.

    .. math:: h = 1.25\,k\,\frac{m}{s} \left(\frac{P}{H}\right)^{0.95}

    Parameters
    ----------
    conductivity_W_m_K : float
        Thermal conductivity of the faces, above zero [W/(m K)].
    slope : float
        Mean slope m of the roughness, above zero [1].
    roughness_m : float
        Root mean square roughness s of both faces together, above zero [m].
    pressure_Pa : float
        Nominal pressure, above zero [Pa].
    hardness_Pa : float
        Hardness of the softer face, above zero [Pa].

    Returns
    -------
    float
        Conductance by nominal area [W/(m² K)].

    Raises
    ------
    Unphysical
        When a number is not above zero.

    Notes
    -----
    Not for cold joints: near 4 K it is two to three decades above what is measured. It is here to show that
    the area hardly counts, and for the warm end of a cooldown.

    Examples
    --------
    >>> rough_contact_W_m2_K(400.0, 0.1, 0.8e-6, 445.0 / 1e-4, 1e9) * 1e-4
    36.5

    References
    ----------
    M. G. Cooper, B. B. Mikic, M. M. Yovanovich, Int. J. Heat Mass Transfer 12 (1969) 279.
    """
    faces = {"conductivity_W_m_K": conductivity_W_m_K, "slope": slope, "roughness_m": roughness_m}
    check_positive(**faces, pressure_Pa=pressure_Pa, hardness_Pa=hardness_Pa)
    return float(1.25 * conductivity_W_m_K * slope / roughness_m * (pressure_Pa / hardness_Pa) ** 0.95)


def _held(temperature_K: float) -> float:
    """The temperature, or the end of `LAW_HOLDS_K` it lies beyond."""
    return min(max(temperature_K, LAW_HOLDS_K[0]), LAW_HOLDS_K[1])


def _power(exponent: Band, logarithm: float) -> tuple[float, float, float]:
    """Of (x)^exponent in logarithms: distance down to the low end, the best, distance up to the high end."""
    assert exponent.low is not None
    assert exponent.best is not None
    assert exponent.high is not None
    ends = sorted((exponent.low * logarithm, exponent.high * logarithm))
    best = exponent.best * logarithm
    return best - ends[0], best, ends[1] - best


@cache
def _data() -> Mapping[str, Any]:
    path = files("server.physics.thermal") / "data" / "joints.json"
    found: Mapping[str, Any] = json.loads(path.read_text("utf-8"))
    return found
