"""All recipes of a cryostat in one set of arrays, and the heat they bring at any temperatures.

A *slot* is one row between one pair of stages: all terms that share it are one coefficient. A *variant* is
one set of coefficients of all slots; many variants are worked out together, each at its own temperatures.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from itertools import chain
from operator import attrgetter
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.thermal.recipe import Recipe
from server.physics.thermal.rows import POWER, Row, stacked

STAGES = 5
Indices = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Terms:
    """Every term of every element: which element, which slot, how much."""

    element: Indices
    slot: Indices
    coefficient: Array


class Drives(NamedTuple):
    """What drives heat through each slot (variants, slots), and its derivatives by its hot and cold end."""

    value: Array
    by_hot: Array
    by_cold: Array


class System:
    """The slots of a set of recipes.

    Attributes
    ----------
    rows : tuple of Row
        Every row that is used, watts first.
    row, hot, cold : (slots,) arrays
        What each slot is.
    terms : Terms
        The terms of all elements at their best values.
    """

    def __init__(self, recipes: Sequence[Recipe], extra: Sequence[tuple[Row, int, int]] = ()) -> None:
        self.recipes, self.more = tuple(recipes), extra
        theirs = chain.from_iterable(recipe.rows for recipe in recipes)
        self.rows = tuple(dict.fromkeys([POWER, *theirs, *(row for row, _, _ in extra)]))
        number = {row: n for n, row in enumerate(self.rows)}
        codes, elements, coefficients = _flat(recipes, number)
        more = np.array([number[row] * 25 + 5 * hot + cold for row, hot, cold in extra], dtype=np.intp)
        slots, where = np.unique(np.concatenate([codes, more]), return_inverse=True)
        self.row, path = np.divmod(slots, 25)
        self.hot, self.cold = np.divmod(path, 5)
        self.at_hot, self.at_cold = (end * len(self.rows) + self.row for end in (self.hot, self.cold))
        self.terms = Terms(elements, where[: len(codes)].astype(np.intp), coefficients)
        self.extra: Indices = where[len(codes) :].astype(np.intp)
        self.given: NDArray[np.bool_] = self.row == 0
        self.stack = stacked(self.rows)
        self._make_matrices()

    def _make_matrices(self) -> None:
        """How slots add up at stages: heat enters `cold` and, unless it is given watts, leaves `hot`."""
        count, all_slots = len(self.row), np.arange(len(self.row))
        enters = np.zeros((count, STAGES))
        enters[all_slots, self.cold] = 1.0
        enters[all_slots[~self.given], self.hot[~self.given]] -= 1.0
        self.enters: Array = enters
        at_hot, at_cold = np.eye(STAGES)[self.hot], np.eye(STAGES)[self.cold]
        self.by_hot: Array = (enters[:, :, None] * at_hot[:, None, :]).reshape(count, STAGES * STAGES)
        self.by_cold: Array = (enters[:, :, None] * at_cold[:, None, :]).reshape(count, STAGES * STAGES)

    def again(self, recipes: Sequence[Recipe]) -> "System":
        """The same slots with other coefficients; a new system if the recipes no longer fit."""
        if recipes is self.recipes:
            return self
        changed = ((new, old) for new, old in zip(recipes, self.recipes, strict=True) if new is not old)
        if not all(_alike(new, old) for new, old in changed):
            return System(recipes, self.more)
        found = copy(self)
        found.recipes = tuple(recipes)
        coefficients = np.concatenate([np.zeros(0), *(recipe.coefficient for recipe in recipes)])
        found.terms = Terms(self.terms.element, self.terms.slot, coefficients)
        return found

    def total(self, weights: Array) -> Array:
        """Coefficient of every slot, each element taken `weights` times."""
        picked = self.terms.coefficient * weights[self.terms.element]
        return self.per_slot(self.terms.slot, picked)

    def per_slot(self, slot: Indices, values: Array) -> Array:
        """Values added up by slot."""
        return np.asarray(np.bincount(slot, values, minlength=len(self.row)), dtype=float)

    def drives(self, T_K: Array) -> Drives:
        """What drives each slot at temperatures (variants, stages)."""
        value, slope = self._rows_at(T_K)
        drive = value[:, self.at_hot] - value[:, self.at_cold]
        drive[:, self.given] = 1.0
        return Drives(drive, slope[:, self.at_hot], slope[:, self.at_cold])

    def _rows_at(self, T_K: Array) -> tuple[Array, Array]:
        """Value and derivative of every row at every stage: (variants, stages · rows), stage by stage.

        A stage at which all variants agree, such as the vessel, is looked up once.
        """
        count, wide = len(T_K), len(self.rows)
        if count == 1:
            value, slope = self.stack.at(T_K[0])
            return value.reshape(1, -1), slope.reshape(1, -1)
        same = (T_K[0] == T_K).all(axis=0)
        value, slope = np.empty((count, STAGES, wide)), np.empty((count, STAGES, wide))
        value[:, same], slope[:, same] = self.stack.at(T_K[0, same])
        value[:, ~same], slope[:, ~same] = self.stack.at(T_K[:, ~same])
        return value.reshape(count, -1), slope.reshape(count, -1)

    def heat_W(self, coefficients: Array, drives: Drives) -> tuple[Array, Array]:
        """Heat into every stage (variants, stages), and its derivatives by temperature (…, stages)."""
        heat = (coefficients * drives.value) @ self.enters
        slopes = (coefficients * drives.by_hot) @ self.by_hot - (coefficients * drives.by_cold) @ self.by_cold
        return heat, slopes.reshape(-1, STAGES, STAGES)


def _alike(one: Recipe, other: Recipe) -> bool:
    """Whether two recipes have the same terms, whatever their coefficients."""
    return (
        one.rows == other.rows and np.array_equal(one.row, other.row) and np.array_equal(one.path, other.path)
    )


def heat_of(system: System, group: Indices, count: int, slot: Indices, flow: Array) -> Array:
    """Heat into every stage (count, stages) by flows through slots, added up by group."""
    into = np.bincount(group * STAGES + system.cold[slot], flow, minlength=count * STAGES)
    leaves = ~system.given[slot]
    place = group[leaves] * STAGES + system.hot[slot[leaves]]
    out_of = np.bincount(place, flow[leaves], minlength=count * STAGES)
    return np.asarray(into - out_of, dtype=float).reshape(count, STAGES)


def _flat(recipes: Sequence[Recipe], number: dict[Row, int]) -> tuple[Indices, Indices, Array]:
    """Slot codes, elements and coefficients of all terms, one after another."""
    rows, local, paths, values = ([], [], [], []) if not recipes else zip(*map(_parts, recipes), strict=True)
    counts = np.array(list(map(len, local)), dtype=np.intp)
    if not counts.sum():
        return np.zeros(0, np.intp), np.zeros(0, np.intp), np.zeros(0)
    numbers = np.array([number[row] for row in chain.from_iterable(rows)], dtype=np.intp)
    firsts = np.cumsum([0, *map(len, rows[:-1])])
    row = numbers[np.concatenate(local) + np.repeat(firsts, counts)]
    elements = np.repeat(np.arange(len(recipes)), counts)
    return row * 25 + np.concatenate(paths), elements, np.concatenate(values)


_parts = attrgetter("rows", "row", "path", "coefficient")


def alone_W(recipe: Recipe, T_K: Array) -> Array:
    """Heat that one recipe brings into every stage at temperatures (stages,) [W]."""
    heat_W = np.zeros(STAGES)
    if not len(recipe.coefficient):
        return heat_W
    hot, cold = np.divmod(recipe.path, STAGES)
    value = stacked(recipe.rows).at(T_K)[0]
    given = np.array([row is POWER for row in recipe.rows])[recipe.row]
    flow = recipe.coefficient * np.where(given, 1.0, value[hot, recipe.row] - value[cold, recipe.row])
    np.add.at(heat_W, cold, flow)
    np.subtract.at(heat_W, hot[~given], flow[~given])
    return heat_W
