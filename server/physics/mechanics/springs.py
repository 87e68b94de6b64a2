"""Disc springs and stacks of them: force against deflection, friction, stacks put together wrongly."""

import math
from collections import Counter
from dataclasses import dataclass
from itertools import groupby
from typing import TypeVar, overload

import numpy as np

from server.physics.arguments import Value, check_count, check_positive, in_kind
from server.physics.errors import Unphysical
from server.physics.materials.arrays import Array
from server.physics.statistics import Band

Number = TypeVar("Number", float, Array)

SNAPS_THROUGH = math.sqrt(2.0)
"""Free cone height over thickness from which the force falls before a disc is flat."""


@overload
def disc_spring_force_N(
    outer_m: float,
    inner_m: float,
    thickness_m: float,
    free_height_m: float,
    deflection_m: float,
    *,
    young_Pa: float = ...,
    poisson: float = ...,
) -> float: ...
@overload
def disc_spring_force_N(
    outer_m: float,
    inner_m: float,
    thickness_m: float,
    free_height_m: float,
    deflection_m: Array,
    *,
    young_Pa: float = ...,
    poisson: float = ...,
) -> Array: ...
def disc_spring_force_N(
    outer_m: float,
    inner_m: float,
    thickness_m: float,
    free_height_m: float,
    deflection_m: Value,
    *,
    young_Pa: float = 206e9,
    poisson: float = 0.3,
) -> Value:
    r"""Force of one disc spring without flats at its edges.

    .. math:: F = \frac{4 E}{1-\mu^2} \frac{t^4}{K_1 D_e^2} \frac{s}{t} \left[
              \left(\frac{h_0}{t} - \frac{s}{t}\right) \left(\frac{h_0}{t} - \frac{s}{2t}\right) + 1 \right]

    .. math:: K_1 = \frac{1}{\pi} \frac{[(\delta-1)/\delta]^2}{(\delta+1)/(\delta-1) - 2/\ln\delta},
              \quad \delta = D_e/D_i, \quad h_0 = l_0 - t

    Parameters
    ----------
    outer_m, inner_m : float
        Outer and inner diameter, the outer the larger [m].
    thickness_m : float
        Thickness of the material, above zero [m].
    free_height_m : float
        Overall height l0 of the free disc, above its thickness [m].
    deflection_m : float or array
        How far it is pressed, from zero to flat (l0 − t) [m].
    young_Pa : float, optional
        Young's modulus of the material [Pa].
    poisson : float, optional
        Poisson's ratio, from zero to below one half [1].

    Returns
    -------
    float or array
        Force [N].

    Raises
    ------
    Unphysical
        When a size is not possible, or the deflection lies below zero or beyond flat.

    Notes
    -----
    Trust it to three quarters of the way to flat; beyond, the disc rolls on its neighbour and the force rises
    faster. Flat, a disc is a plain washer. At 4 K the modulus of metals is 5 to 10 per cent higher than the
    warm one. Carbon steel is brittle and magnetic when cold: use spring stainless steel, a nickel alloy or
    beryllium-copper with their own modulus.

    Beryllium-copper is used as supplied: no filing, sanding or drilling; its dust is toxic. This result is no
    approval; local rules decide.

    Examples
    --------
    >>> disc_spring_force_N(50e-3, 25.4e-3, 2e-3, 3.4e-3, 0.75 * 1.4e-3)
    4762.

    References
    ----------
    DIN EN 16984 (formerly DIN 2092), calculation of disc springs; J. O. Almen, A. Laszlo, Trans. ASME 58
    (1936) 305.
    """
    _check_disc(outer_m, inner_m, thickness_m, free_height_m)
    _check_elastic(young_Pa, poisson)
    cone_m = free_height_m - thickness_m
    s = np.asarray(deflection_m, dtype=float)
    if not np.all((s >= 0.0) & (s <= cone_m * (1.0 + 1e-12))):
        raise Unphysical("deflection_m must lie between zero and flat (free_height_m less thickness_m).")
    scale = _scale_N(outer_m, inner_m, thickness_m, young_Pa, poisson)
    return in_kind(_shape(s / thickness_m, cone_m / thickness_m) * scale)


@dataclass(frozen=True)
class DiscSpring:
    """One size of disc spring.

    Attributes
    ----------
    outer_m, inner_m : float
        Outer and inner diameter [m].
    thickness_m : float
        Thickness [m].
    free_height_m : float
        Overall height when free [m].
    young_Pa : float
        Young's modulus [Pa].
    poisson : float
        Poisson's ratio [1].

    Raises
    ------
    Unphysical
        When no disc can have those sizes.
    """

    outer_m: float
    inner_m: float
    thickness_m: float
    free_height_m: float
    young_Pa: float = 206e9
    poisson: float = 0.3

    def __post_init__(self) -> None:
        _check_disc(self.outer_m, self.inner_m, self.thickness_m, self.free_height_m)
        _check_elastic(self.young_Pa, self.poisson)

    @property
    def cone_m(self) -> float:
        """Deflection at which it is flat [m]."""
        return self.free_height_m - self.thickness_m

    @property
    def flat_N(self) -> float:
        """Force that presses it flat [N]."""
        return self.force_N(self.cone_m)

    @property
    def snaps_through(self) -> bool:
        """Whether its force falls before it is flat, so that one force means several deflections."""
        return self.cone_m / self.thickness_m > SNAPS_THROUGH

    def force_N(self, deflection_m: float) -> float:
        """Force at a deflection [N], as `disc_spring_force_N`."""
        return disc_spring_force_N(
            self.outer_m,
            self.inner_m,
            self.thickness_m,
            self.free_height_m,
            deflection_m,
            young_Pa=self.young_Pa,
            poisson=self.poisson,
        )

    def deflection_m(self, force_N: float) -> float:
        """Deflection under a force [m]; flat is flat, however large the force.

        Raises `Unphysical` for a negative force, or for a disc that snaps through.
        """
        if not force_N >= 0.0:
            raise Unphysical("force_N must be zero or above.")
        if self.snaps_through:
            raise Unphysical("This disc snaps through: one force does not tell its deflection.")
        scale = _scale_N(self.outer_m, self.inner_m, self.thickness_m, self.young_Pa, self.poisson)
        flat = self.cone_m / self.thickness_m
        low, high = 0.0, flat
        for _ in range(60):
            middle = (low + high) / 2.0
            low, high = (middle, high) if scale * _shape(middle, flat) < force_N else (low, middle)
        return self.thickness_m * (low + high) / 2.0


@dataclass(frozen=True)
class DiscStack:
    """Discs on one screw: groups in series, the discs of a group nested in parallel.

    Attributes
    ----------
    spring : DiscSpring
        The disc it is made of.
    groups : tuple of int
        How many discs are nested in each group: ``(1, 1, 1, 1)`` is four singly in series.

    Raises
    ------
    Unphysical
        When there is no group, or one without a disc.
    """

    spring: DiscSpring
    groups: tuple[int, ...]

    def __post_init__(self) -> None:
        if not self.groups:
            raise Unphysical("groups must hold at least one disc.")
        for group in self.groups:
            check_count(groups=group)

    @property
    def travel_m(self) -> float:
        """Deflection at which every disc is flat [m]."""
        return len(self.groups) * self.spring.cone_m

    @property
    def flat_from_N(self) -> float:
        """Force at which the weakest group is flat [N]."""
        return min(self.groups) * self.spring.flat_N

    def deflection_m(self, force_N: float) -> float:
        """Deflection of the stack under a force [m]; groups already flat add their flat deflection only."""
        alike = Counter(self.groups)
        return sum(number * self.spring.deflection_m(force_N / discs) for discs, number in alike.items())


def stack_of(spring: DiscSpring, orientation: str, upside_down: tuple[int, ...] = ()) -> DiscStack:
    """The stack that discs make, seen from the side with the screw lying down.

    Neighbours that face alike nest (parallel: more force), neighbours that face each other or turn their
    backs are in series (more travel). A disc put in upside down nests where it should spring.

    Parameters
    ----------
    spring : DiscSpring
        The disc.
    orientation : str
        One sign a disc, ``(`` or ``)``, as the standing order draws it: ``"()()"`` is four in series,
        ``"(())"`` two pairs of two.
    upside_down : tuple of int, optional
        Positions of discs that were put in the wrong way round, the first being 1 [1].

    Returns
    -------
    DiscStack
        The groups as built.

    Raises
    ------
    Unphysical
        When a sign is neither, or a position is not in the stack.

    Examples
    --------
    >>> disc = DiscSpring(8e-3, 4.2e-3, 0.4e-3, 0.6e-3)
    >>> stack_of(disc, "()()").groups
    (1, 1, 1, 1)
    >>> stack_of(disc, "()()", upside_down=(2,)).groups
    (3, 1)

    References
    ----------
    DIN EN 16983 (formerly DIN 2093), arrangement of disc springs.
    """
    if not orientation or set(orientation) - set("()"):
        raise Unphysical("orientation must be made of the signs ( and ), one a disc.")
    if not all(1 <= place <= len(orientation) for place in upside_down):
        raise Unphysical("upside_down must hold positions in the stack, the first being 1.")
    turned = {"(": ")", ")": "("}
    signs = [turned[s] if n in upside_down else s for n, s in enumerate(orientation, start=1)]
    return DiscStack(spring, tuple(len(list(group)) for _, group in groupby(signs)))


def stack_force_N(
    spring: DiscSpring,
    parallel: int,
    series: int,
    travel_m: float,
    *,
    layer_friction: float = 0.0,
    edge_friction: float = 0.0,
    unloading: bool = False,
) -> float:
    r"""Force of an even stack at a given travel, with the friction of its layers and edges.

    .. math:: F_{stack} = \frac{n F(s/i)}{1 \mp w_M (n-1) \mp w_R}

    with minus while loading and plus while unloading.

    Parameters
    ----------
    spring : DiscSpring
        The disc.
    parallel, series : int
        Discs nested in each group, and groups in series, one or more [1].
    travel_m : float
        Deflection of the whole stack, from zero to flat [m].
    layer_friction, edge_friction : float, optional
        w_M between nested discs (0.005 to 0.03) and w_R at the edges (0.02 to 0.04), zero or above [1].
    unloading : bool, optional
        Whether the stack is being released.

    Returns
    -------
    float
        Force on the screw [N].

    Raises
    ------
    Unphysical
        When a number is not possible, or the travel lies beyond flat.

    Notes
    -----
    As `disc_spring_force_N`.

    Examples
    --------
    >>> disc = DiscSpring(50e-3, 25.4e-3, 3e-3, 4.1e-3)
    >>> stack_force_N(disc, 2, 3, 1.5e-3)
    15023.9
    >>> stack_force_N(disc, 2, 3, 1.5e-3, layer_friction=0.02, edge_friction=0.03)
    15814.7

    References
    ----------
    DIN EN 16984 (formerly DIN 2092), stacks and friction.
    """
    check_count(parallel=parallel, series=series)
    if not (layer_friction >= 0.0 and edge_friction >= 0.0):
        raise Unphysical("layer_friction and edge_friction must be zero or above.")
    rub = layer_friction * (parallel - 1) + edge_friction
    if rub >= 1.0:
        raise Unphysical("layer_friction and edge_friction are too large: the stack would lock.")
    return parallel * spring.force_N(travel_m / series) / (1.0 + rub if unloading else 1.0 - rub)


def disc_force_band_N(spring: DiscSpring, deflection_m: float) -> Band:
    """Force of one disc as delivered, with the tolerance its standard allows.

    Parameters
    ----------
    spring : DiscSpring
        The disc.
    deflection_m : float
        How far it is pressed, from zero to flat [m].

    Returns
    -------
    Band
        Force; the tolerance is stated for three quarters of the way to flat and taken for all [N].

    Raises
    ------
    Unphysical
        When the deflection lies below zero or beyond flat.

    Examples
    --------
    >>> disc_force_band_N(DiscSpring(8e-3, 4.2e-3, 0.4e-3, 0.6e-3), 0.15e-3)
    Band(low=193.9, best=209.6, high=262.0)

    References
    ----------
    DIN EN 16983 (formerly DIN 2093), tolerance on spring force by thickness.
    """
    force_N = spring.force_N(deflection_m)
    below, above = next(limits for thickest_m, *limits in _TOLERANCES if spring.thickness_m <= thickest_m)
    return Band(force_N * (1.0 - below), force_N, force_N * (1.0 + above))


# Up to which thickness [m], and by how much a delivered force may lie below and above the calculated one.
_TOLERANCES = ((1.25e-3, 0.075, 0.25), (3e-3, 0.075, 0.15), (6e-3, 0.05, 0.10), (math.inf, 0.05, 0.05))


def _scale_N(outer_m: float, inner_m: float, thickness_m: float, young_Pa: float, poisson: float) -> float:
    """Force by which `_shape` is multiplied: 4 E/(1 − μ²) t⁴/(K1 De²)."""
    return 4.0 * young_Pa / (1.0 - poisson**2) * thickness_m**4 / (_k1(outer_m / inner_m) * outer_m**2)


def _shape(s: Number, h: float) -> Number:
    """How force depends on deflection `s` for a free cone `h`, both in thicknesses."""
    return s * ((h - s) * (h - s / 2.0) + 1.0)


def _k1(ratio: float) -> float:
    """Calculation coefficient K1 of the standard, of the ratio of the diameters."""
    return ((ratio - 1.0) / ratio) ** 2 / ((ratio + 1.0) / (ratio - 1.0) - 2.0 / math.log(ratio)) / math.pi


def _check_disc(outer_m: float, inner_m: float, thickness_m: float, free_height_m: float) -> None:
    check_positive(outer_m=outer_m, inner_m=inner_m, thickness_m=thickness_m, free_height_m=free_height_m)
    if outer_m <= inner_m:
        raise Unphysical("outer_m must be above inner_m.")
    if free_height_m <= thickness_m:
        raise Unphysical("free_height_m must be above thickness_m: it is the height of the free disc.")


def _check_elastic(young_Pa: float, poisson: float) -> None:
    check_positive(young_Pa=young_Pa)
    if not 0.0 <= poisson < 0.5:
        raise Unphysical("poisson must be from 0 to below 0.5.")
