"""What the temperatures would be without each element."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.thermal.solve import Residuals, settled
from server.physics.thermal.state import State
from server.physics.thermal.system import STAGES, Indices

ROUNDING_K = 1e-9
"""Below this a cost is what solving twice leaves of none."""


@dataclass(frozen=True, eq=False)
class Absent:
    """The configuration without each of its elements, one at a time.

    Attributes
    ----------
    numbers : (n,) array
        The elements: all that could be computed but joints, without which nothing would be known of what
        they carry.
    coefficients : (n, slots) array
        What each brings to the slots by itself.
    cost_K : (n, stages) array
        Temperature with all minus temperature with all but this one, solved again [K].
    residuals : Residuals
        What holds at the temperatures without each.
    may_cool : (n,) array of bool
        Whether less of it may be warmer, as with a current.
    """

    numbers: Indices
    coefficients: Array
    cost_K: Array
    residuals: Residuals
    may_cool: NDArray[np.bool_]

    def place(self, elements: Indices) -> Indices:
        """Where elements stand in `numbers`, −1 for one that does not."""
        if not len(self.numbers):
            return np.full(len(elements), -1)
        found = np.minimum(np.searchsorted(self.numbers, elements), len(self.numbers) - 1)
        return np.where(self.numbers[found] == elements, found, -1)

    def furthest_K(self) -> Array:
        """How far costs may go down and up before they turn round: (2, n, stages) [K].

        However little heat an element brings, nothing gets colder than without it.
        """
        limited = np.stack([self.cost_K > 0.0, self.cost_K < 0.0])
        found = np.where(limited, np.abs(self.cost_K), np.inf)
        found[:, self.may_cool] = np.inf
        return found


def without_each(state: State) -> Absent:
    """Solve the balance once more without each element, all at once."""
    joints = set(state.inventory.joints)
    numbers = np.array([n for n in state.counted.tolist() if n not in joints], dtype=np.intp)
    gone, cost_K, there = by_slot(state, numbers), np.zeros((len(numbers), STAGES)), Residuals.of_nothing()
    if len(numbers):
        about_K = (gone * state.residuals.drives.value) @ state.problem.system.enters @ state.response_K_W.T
        start_K = np.maximum(state.T_K - about_K, 0.5 * state.T_K)
        least = state.now - gone, state.subtract_W, state.settings
        T_K, there = settled(state.problem, start_K, *least)
        cost_K = state.T_K - T_K
        cost_K[np.abs(cost_K) < ROUNDING_K] = 0.0
    may_cool = [state.recipes[n].nature.may_cool for n in numbers.tolist()]
    return Absent(numbers, gone, cost_K, there, np.array(may_cool, dtype=bool))


def by_slot(state: State, numbers: Indices) -> Array:
    """Coefficients of each element alone: (elements, slots)."""
    system, terms = state.problem.system, state.problem.system.terms
    place = np.full(len(state.recipes), -1)
    place[numbers] = np.arange(len(numbers))
    here = place[terms.element]
    mine = here >= 0
    shape = len(numbers), len(system.row)
    flat = here[mine] * shape[1] + terms.slot[mine]
    summed = np.bincount(flat, terms.coefficient[mine], minlength=shape[0] * shape[1])
    return np.asarray(summed, dtype=float).reshape(shape)
