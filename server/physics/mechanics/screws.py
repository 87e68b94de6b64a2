"""Torque, preload, and whether a screw or its thread bears it."""

import math
from dataclasses import dataclass
from typing import Any

from server.physics.arguments import check_positive
from server.physics.errors import Overloaded, UnknownMaterial
from server.physics.mechanics.threads import Thread, screw_data, strip_load_N, thread
from server.physics.statistics import Band

TORQUE_SCATTER = 0.30
"""Preload from a torque driver lies within this share of what is worked out."""

TORSION_FACTOR = 1.3
"""Stress while tightening over the stress of tension alone."""

PROOF_SHARE = 0.75
"""Share of the proof stress that tightening may use; the rest is left to the scatter of the driver."""


@dataclass(frozen=True)
class ScrewCheck:
    """What a torque does to a screw that bears it.

    Attributes
    ----------
    preload_N : Band
        Clamping force, with the scatter of a torque driver [N].
    tension_Pa : float
        Stress at the nominal preload [Pa].
    tightening_Pa : float
        Stress while tightening, torsion included [Pa].
    proof_Pa : float
        Proof stress of the screw [Pa].
    strip_N : float
        Load that would strip the thread it holds in [N].
    """

    preload_N: Band
    tension_Pa: float
    tightening_Pa: float
    proof_Pa: float
    strip_N: float


def preload_N(torque_N_m: float, diameter_m: float, nut_factor: float) -> float:
    r"""Clamping force of a screw from the torque on it.

    .. math:: F = \frac{T}{K d}

    Parameters
    ----------
    torque_N_m : float
        Driver setting, above zero [N m].
    diameter_m : float
        Nominal diameter, above zero [m].
    nut_factor : float
        K: about 0.20 dry, 0.15 lubricated, 0.10 to 0.13 with silver or molybdenum grease [1].

    Returns
    -------
    float
        Nominal preload; a torque driver scatters by 30 per cent about it [N].

    Raises
    ------
    Unphysical
        When a number is not above zero.

    Notes
    -----
    The maker's torque and the standing order come first. Grease on a screw raises the preload at the same
    torque: an ordinary dry setting can take a greased screw past yield. Small platform screws near 5 in·lbf
    (0.56 N m) are common practice, no source. This result is no approval; local rules decide.

    Examples
    --------
    >>> preload_N(0.5, 3e-3, 0.20)
    833.3

    References
    ----------
    J. A. Chambers, Preloaded Joint Analysis Methodology for Space Flight Systems, NASA TM-106943 (1995).
    """
    check_positive(torque_N_m=torque_N_m, diameter_m=diameter_m, nut_factor=nut_factor)
    return torque_N_m / (nut_factor * diameter_m)


def nut_factor(state: str) -> Band:
    """How much of a torque friction takes, by the state of the thread and the head.

    Parameters
    ----------
    state : str
        ``dry``, ``lubricated``, ``silver-or-molybdenum-grease`` or ``unknown``.

    Returns
    -------
    Band
        K; for ``unknown`` only the range [1].

    Raises
    ------
    UnknownMaterial
        When there is no such state.

    Examples
    --------
    >>> nut_factor("dry").best
    0.2

    References
    ----------
    0.20 and 0.15 as printed in torque charts; the rest and all ranges from memory.
    """
    return Band(*_looked_up("nut_factors", state, "state of a thread"))


def check_screw(
    thread_name: str,
    torque_N_m: float,
    *,
    nut_factor: float = 0.20,
    screw: str = "unknown",
    threaded: str = "unknown",
    engaged_m: float,
) -> ScrewCheck:
    """Work out what a torque does, and refuse it when the screw would yield or its thread strip.

    Refused is a stress while tightening, with torsion, above three quarters of the proof stress, which
    leaves the driver its scatter; and a preload at the high end of that scatter above what strips the thread.

    Parameters
    ----------
    thread_name : str
        One of `threads()`, such as ``"M3"``.
    torque_N_m : float
        Driver setting, above zero [N m].
    nut_factor : float, optional
        K, as `preload_N` [1].
    screw : str, optional
        What the screw is made of, one of `screw_metals()`; unknown is the weakest.
    threaded : str, optional
        What its thread is cut in, one of `threaded_metals()`; unknown is the weakest.
    engaged_m : float
        Length over which the threads engage, above zero [m].

    Returns
    -------
    ScrewCheck
        Preload, stresses and the load that strips.

    Raises
    ------
    Overloaded
        With what would yield or strip, and by how much.
    UnknownMaterial
        When a thread or a metal is not known here.
    Unphysical
        When a number is not above zero.

    Notes
    -----
    The maker's torque and the standing order come first. A result that is not refused is no approval:
    strengths are from memory, threads wear, and local rules and the person responsible decide.

    Examples
    --------
    >>> check = check_screw("M3", 0.5, screw="stainless-A2-70", threaded="soft-copper", engaged_m=4.5e-3)
    >>> check.tension_Pa / 1e6
    165.7
    >>> check_screw("M2.5", 0.7, nut_factor=0.12, screw="stainless-A2-70", engaged_m=4e-3)
    Traceback (most recent call last):
    server.physics.errors.Overloaded: The screw could yield: ...

    References
    ----------
    J. A. Chambers, NASA TM-106943 (1995); NASA-STD-5020; FED-STD-H28. Share of proof and torsion factor:
    common practice, no source.
    """
    size = thread(thread_name)
    nominal_N = preload_N(torque_N_m, size.diameter_m, nut_factor)
    most_N = nominal_N * (1.0 + TORQUE_SCATTER)
    result = ScrewCheck(
        Band(nominal_N * (1.0 - TORQUE_SCATTER), nominal_N, most_N),
        nominal_N / size.stress_area_m2,
        TORSION_FACTOR * nominal_N / size.stress_area_m2,
        _looked_up("screws", screw, "screw metal"),
        strip_load_N(size.diameter_m, size.pitch_m, engaged_m, _looked_up("threaded", threaded, "metal")),
    )
    _refuse_overload(result, size)
    return result


def _refuse_overload(result: ScrewCheck, size: Thread) -> None:
    if result.tightening_Pa > PROOF_SHARE * result.proof_Pa:
        raise Overloaded(
            f"The screw could yield: {size.name} would see {result.tightening_Pa / 1e6:.0f} MPa while it is "
            f"tightened, more than {PROOF_SHARE:.0%} of its proof stress of {result.proof_Pa / 1e6:.0f} MPa."
        )
    most_N = result.preload_N.high
    assert most_N is not None
    if most_N > result.strip_N:
        raise Overloaded(
            f"The thread could strip: {size.name} may pull with {most_N:.0f} N, "
            f"its thread holds {result.strip_N:.0f} N over the length engaged."
        )


def screw_metals() -> tuple[str, ...]:
    """What `check_screw` knows screws to be made of.

    Returns
    -------
    tuple of str
        Names; the last is ``unknown``.

    Examples
    --------
    >>> screw_metals()[1]
    'stainless-A2-70'
    """
    return tuple(screw_data()["screws"])


def threaded_metals() -> tuple[str, ...]:
    """What `check_screw` knows threads to be cut in.

    Returns
    -------
    tuple of str
        Names; the last is ``unknown``.

    Examples
    --------
    >>> threaded_metals()[0]
    'soft-copper'
    """
    return tuple(screw_data()["threaded"])


def young_Pa(metal: str) -> float:
    """Young's modulus at room temperature.

    Parameters
    ----------
    metal : str
        A family of materials, such as ``copper``, ``stainless`` or ``beryllium-copper``.

    Returns
    -------
    float
        Modulus; 5 to 10 per cent higher at 4 K [Pa].

    Raises
    ------
    UnknownMaterial
        When it is not known here.

    Examples
    --------
    >>> young_Pa("copper") / 1e9
    120.

    References
    ----------
    From memory.
    """
    return float(_looked_up("young_Pa", metal, "metal"))


def screw_stiffness_N_per_m(stress_area_m2: float, grip_m: float, young_Pa: float) -> float:
    r"""Stiffness of the stretched part of a screw.

    .. math:: k_b = \frac{E A_s}{L}

    Parameters
    ----------
    stress_area_m2 : float
        Area that carries tension, above zero [m²].
    grip_m : float
        Length from under the head to the thread it holds in, above zero [m].
    young_Pa : float
        Young's modulus of the screw, above zero [Pa].

    Returns
    -------
    float
        Force per stretch [N/m].

    Raises
    ------
    Unphysical
        When a number is not above zero.

    Examples
    --------
    >>> screw_stiffness_N_per_m(5.031e-6, 0.010, 195e9) / 1e6
    98.1

    References
    ----------
    J. A. Chambers, NASA TM-106943 (1995).
    """
    check_positive(stress_area_m2=stress_area_m2, grip_m=grip_m, young_Pa=young_Pa)
    return young_Pa * stress_area_m2 / grip_m


def joint_stiffness_N_per_m(diameter_m: float, grip_m: float, young_Pa: float) -> float:
    r"""Stiffness of what a screw clamps, as a sleeve that widens with the grip.

    .. math:: k_j = \frac{E A}{L}, \quad
              A = \frac{\pi}{4} \left[ \left(1.6\,d + \frac{L}{10}\right)^2 - (1.1\,d)^2 \right]

    Parameters
    ----------
    diameter_m : float
        Nominal diameter of the screw, above zero [m].
    grip_m : float
        Length clamped, above zero [m].
    young_Pa : float
        Young's modulus of what is clamped, above zero [Pa].

    Returns
    -------
    float
        Force per compression [N/m].

    Raises
    ------
    Unphysical
        When a number is not above zero.

    Examples
    --------
    >>> joint_stiffness_N_per_m(3e-3, 0.010, 120e9) / 1e6
    214.4

    References
    ----------
    The usual sleeve of bolted-joint design (head 1.6 d, clearance 1.1 d), from memory.
    """
    check_positive(diameter_m=diameter_m, grip_m=grip_m, young_Pa=young_Pa)
    sleeve_m2 = math.pi / 4.0 * ((1.6 * diameter_m + grip_m / 10.0) ** 2 - (1.1 * diameter_m) ** 2)
    return young_Pa * sleeve_m2 / grip_m


def _looked_up(table: str, name: str, what: str) -> Any:
    entries = screw_data()[table]
    if name not in entries:
        raise UnknownMaterial(f"There is no {what} called '{name}' here.")
    return entries[name]
