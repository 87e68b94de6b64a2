"""What carries heat between two stages, tabulated: ∫ k dT of a solid, σT⁴, T itself.

Heat between a hot and a cold stage is a coefficient times the difference of such a function. All of them lie
on one grid, even in ln T, so that many are looked up at many temperatures in one step.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.physics.materials import Material
from server.physics.materials.arrays import Array
from server.physics.thermal.radiation import STEFAN_BOLTZMANN_W_m2_K4

COLDEST_K, HOTTEST_K, CELLS = 0.5, 400.0, 1024
_GRID_K: Array = np.geomspace(COLDEST_K, HOTTEST_K, CELLS + 1)
_WIDTH_K: Array = np.diff(_GRID_K)
_PER_LOG = CELLS / np.log(HOTTEST_K / COLDEST_K)
_FIRST = 1.0 - np.log(COLDEST_K) * _PER_LOG
_STARTS_K: Array = np.concatenate([_GRID_K[:1], _GRID_K])
_PER_K: Array = 1.0 / np.concatenate([_WIDTH_K[:1], _WIDTH_K, _WIDTH_K[-1:]])
"""Where the cells begin, and how many of them go into a kelvin; the first and the last are straight and go on
for ever."""
_FLOOR_K = 1e-3


@dataclass(frozen=True, eq=False)
class Row:
    """One function on the grid, as a cubic in every cell.

    Attributes
    ----------
    name : str
        What it is.
    cubics : (cells, 4) array
        Coefficients of each cell in u, from 0 to 1 across it.
    outer : pair of rows or None
        The same function at the low and at the high end of its band.
    material : Material or None
        The solid it belongs to.
    covered_K : (float, float)
        Where it is known [K].
    """

    name: str
    cubics: Array
    outer: tuple["Row", "Row"] | None = None
    material: Material | None = None
    covered_K: tuple[float, float] = (0.0, np.inf)


def _row(
    name: str,
    values: Array,
    slopes: Array,
    outer: tuple[Row, Row] | None = None,
    material: Material | None = None,
    covered_K: tuple[float, float] = (0.0, np.inf),
) -> Row:
    """The cubic with the right value and slope at both ends of every cell."""
    rise = np.diff(values)
    left, right = slopes[:-1] * _WIDTH_K, slopes[1:] * _WIDTH_K
    cubics = np.stack([values[:-1], left, 3.0 * rise - 2.0 * left - right, left + right - 2.0 * rise], axis=1)
    return Row(name, cubics, outer, material, covered_K)


POWER = _row("power", np.zeros_like(_GRID_K), np.zeros_like(_GRID_K))
"""A given number of watts, whatever the temperatures."""

LINEAR = _row("linear", _GRID_K, np.ones_like(_GRID_K))
"""A constant conductance [K]."""

RADIATION = _row(
    "radiation",
    STEFAN_BOLTZMANN_W_m2_K4 * _GRID_K**4,
    4.0 * STEFAN_BOLTZMANN_W_m2_K4 * _GRID_K**3,
)
"""σT⁴ [W/m²]."""

SQUARE = _row("square", _GRID_K**2, 2.0 * _GRID_K)
"""T², by which a blanket conducts from layer to layer [K²]."""

LAYERS_EXPONENT = 4.67
BETWEEN_LAYERS = _row(
    "between layers", _GRID_K**LAYERS_EXPONENT, LAYERS_EXPONENT * _GRID_K ** (LAYERS_EXPONENT - 1.0)
)
"""T to the power by which layers of a blanket radiate to each other."""


@lru_cache(maxsize=128)
def conduction(solid: Material) -> Row:
    """∫ k dT of a solid from the cold end of the grid [W/m], with its band.

    Beyond what the solid's data cover k is constant: a solver may step there, an answer may not lie there.
    """
    covered_K = solid.about("conductivity").covered_K
    inside_K = np.clip(_GRID_K, *covered_K)
    values = solid.integral_anywhere_W_m(_GRID_K[0], _GRID_K)
    factors = solid.uncertainty_of_integral(np.full_like(_GRID_K, _GRID_K[0]), _GRID_K)
    outer = tuple(_straight(solid.name, values * factor) for factor in factors)
    slopes = np.asarray(solid.conductivity_W_m_K(inside_K))
    return _row(solid.name, values, slopes, (outer[0], outer[1]), solid, covered_K)


def _straight(name: str, values: Array) -> Row:
    """A row of straight lines, for comparisons only."""
    none = np.zeros(CELLS)
    return Row(name, np.stack([values[:-1], np.diff(values), none, none], axis=1))


class Stack:
    """Several rows, looked up together."""

    def __init__(self, rows: tuple[Row, ...]) -> None:
        # One contiguous block: cell, power of u, row. Beyond both ends a straight cell more.
        inside = np.stack([row.cubics for row in rows], axis=2)
        below, above = np.zeros_like(inside[:1]), np.zeros_like(inside[:1])
        below[0, :2] = inside[0, :2]
        above[0, 0] = inside[-1].sum(axis=0)
        above[0, 1] = inside[-1, 1] + 2.0 * inside[-1, 2] + 3.0 * inside[-1, 3]
        self.cubics: Array = np.concatenate([below, inside, above])

    def at(self, T_K: Array) -> tuple[Array, Array]:
        """Value and derivative of every row at every temperature: two arrays, rows as their last axis."""
        place = np.log(np.maximum(T_K, _FLOOR_K)) * _PER_LOG + _FIRST
        cell = np.minimum(np.maximum(place, 0.0), CELLS + 1.0).astype(np.intp)
        per_K = _PER_K[cell]
        u = ((T_K - _STARTS_K[cell]) * per_K)[..., None]
        cubics = self.cubics[cell]
        a, b, c, d = cubics[..., 0, :], cubics[..., 1, :], cubics[..., 2, :], cubics[..., 3, :]
        du = u * d
        slope = b + u * (2.0 * c + 3.0 * du)
        return a + u * (b + u * (c + du)), slope * per_K[..., None]


@lru_cache(maxsize=64)
def stacked(rows: tuple[Row, ...]) -> Stack:
    """The rows as one stack; the same for the same rows."""
    return Stack(rows)


@lru_cache(maxsize=64)
def stacked_ends(rows: tuple[Row, ...]) -> tuple[Stack, Stack]:
    """The low and the high ends of the rows' bands; of a row without a band, the row itself."""
    low, high = (tuple(row.outer[end] if row.outer else row for row in rows) for end in (0, 1))
    return Stack(low), Stack(high)
