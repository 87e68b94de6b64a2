"""What is left of a clamping force when screw and joint have shrunk by different amounts."""

from dataclasses import dataclass

from server.physics.arguments import check_finite, check_not_negative, check_positive
from server.physics.materials import material, materials
from server.physics.mechanics.screws import joint_stiffness_N_per_m, screw_stiffness_N_per_m, young_Pa
from server.physics.mechanics.springs import DiscStack
from server.physics.mechanics.threads import thread

# Of what family a material is, by how its name begins, for its modulus.
_FAMILIES = (
    "phosphor-bronze",
    "beryllium-copper",
    "nickel-iron-36",
    "nickel-alloy-718",
    "copper",
    "aluminium",
    "stainless",
    "brass",
    "titanium",
    "molybdenum",
    "g10",
    "sapphire",
)


@dataclass(frozen=True)
class Clamping:
    """A clamping force before and after cooling.

    Attributes
    ----------
    warm_N : float
        Preload at room temperature [N].
    cold_N : float
        What is left cold; zero when loose [N].
    mismatch_m : float
        How much more the joint shrinks than the screw [m].
    loose : bool
        Whether nothing is left.
    flat_when_warm : bool
        Whether springs are pressed flat at the warm preload, and so act as plain washers to begin with.
    """

    warm_N: float
    cold_N: float
    mismatch_m: float
    loose: bool
    flat_when_warm: bool


def clampable() -> tuple[str, ...]:
    """The materials `clamping_cold` knows contraction and modulus of.

    Returns
    -------
    tuple of str
        Names of materials.

    Examples
    --------
    >>> "stainless-304" in clampable()
    True
    """
    return tuple(name for name in materials("contraction") if _family(name) != name or name in _FAMILIES)


def clamping_left_N(
    preload_N: float,
    mismatch_m: float,
    screw_N_per_m: float,
    joint_N_per_m: float,
    stack: DiscStack | None = None,
) -> float:
    r"""Clamping force left after the joint has shrunk more than its screw.

    The force F at which screw, joint and springs take up what is left of their common deflection:

    .. math:: \frac{F}{k_b} + \frac{F}{k_j} + s(F) = \frac{F_0}{k_b} + \frac{F_0}{k_j} + s(F_0) - \delta

    Parameters
    ----------
    preload_N : float
        Force at room temperature, zero or above [N].
    mismatch_m : float
        Joint less screw; negative when the screw shrinks more and the force grows [m].
    screw_N_per_m, joint_N_per_m : float
        Stiffness of the screw and of what it clamps, above zero [N/m].
    stack : DiscStack, optional
        Springs under the head; None for none.

    Returns
    -------
    float
        Force left; zero when the joint is loose [N].

    Raises
    ------
    Unphysical
        When a number is out of its range, or the springs snap through.

    Notes
    -----
    Springs pressed flat give nothing until the force has fallen below what flattens them. They are meant for
    contraction, not for the settling of a joint. This result is no approval; local rules decide.

    Examples
    --------
    >>> clamping_left_N(942.0, 2.80e-6, 98.1e6, 214.4e6)
    753.5

    References
    ----------
    J. A. Chambers, NASA TM-106943 (1995); with springs, the same balance of deflections.
    """
    check_not_negative(preload_N=preload_N)
    check_positive(screw_N_per_m=screw_N_per_m, joint_N_per_m=joint_N_per_m)
    check_finite(mismatch_m=mismatch_m)
    give_m_per_N = 1.0 / screw_N_per_m + 1.0 / joint_N_per_m

    def deflection_m(force_N: float) -> float:
        return force_N * give_m_per_N + (stack.deflection_m(force_N) if stack else 0.0)

    left_m = deflection_m(preload_N) - mismatch_m
    low_N, high_N = 0.0, preload_N + max(0.0, -mismatch_m) / give_m_per_N
    if left_m <= 0.0:
        return 0.0
    for _ in range(60):
        middle_N = (low_N + high_N) / 2.0
        low_N, high_N = (middle_N, high_N) if deflection_m(middle_N) < left_m else (low_N, middle_N)
    return (low_N + high_N) / 2.0


def clamping_cold(
    preload_N: float,
    *,
    thread_name: str,
    grip_m: float,
    screw: str,
    joint: str,
    stack: DiscStack | None = None,
    cold_K: float = 4.0,
) -> Clamping:
    r"""What cooling leaves of the preload of one screw.

    .. math:: F = F_0 - \frac{\delta}{1/k_b + 1/k_j}, \quad \delta = L (c_j - c_b)

    with the contractions c and stiffnesses k of joint and screw over the length L clamped; with springs the
    force at which all deflections add up.

    Parameters
    ----------
    preload_N : float
        Force at room temperature, zero or above [N].
    thread_name : str
        One of `threads()`, such as ``"M3"``.
    grip_m : float
        Length clamped, above zero [m].
    screw, joint : str
        Materials with a known contraction, of the screw and of what it clamps.
    stack : DiscStack, optional
        Springs under the head, as built; None for none.
    cold_K : float, optional
        Temperature it is cooled to from 293 K [K].

    Returns
    -------
    Clamping
        Force warm and cold, mismatch, and what is wrong.

    Raises
    ------
    Unphysical
        When a number is out of its range, or the springs snap through.
    UnknownMaterial, NoData, OutOfRange
        When a thread or a material is not known, or has no contraction or modulus there.

    Notes
    -----
    A screw of titanium or of a metal that hardly shrinks loses more; one of brass or aluminium gains. Moduli
    are those of room temperature. This result is no approval; local rules decide.

    Examples
    --------
    >>> left = clamping_cold(942.0, thread_name="M3", grip_m=0.010, screw="stainless-304",
    ...                      joint="copper-rrr-100")
    >>> 700.0 < left.cold_N < 800.0
    True

    References
    ----------
    J. A. Chambers, Preloaded Joint Analysis Methodology for Space Flight Systems, NASA TM-106943 (1995);
    contractions as the materials say.
    """
    size = thread(thread_name)
    mismatch_m = grip_m * (material(joint).contraction(cold_K) - material(screw).contraction(cold_K))
    screw_N_per_m = screw_stiffness_N_per_m(size.stress_area_m2, grip_m, young_Pa(_family(screw)))
    joint_N_per_m = joint_stiffness_N_per_m(size.diameter_m, grip_m, young_Pa(_family(joint)))
    cold_N = clamping_left_N(preload_N, mismatch_m, screw_N_per_m, joint_N_per_m, stack)
    flat = stack is not None and preload_N >= stack.flat_from_N
    return Clamping(preload_N, cold_N, mismatch_m, loose=cold_N == 0.0, flat_when_warm=flat)


def _family(name: str) -> str:
    return next((family for family in _FAMILIES if name.startswith(family)), name)
