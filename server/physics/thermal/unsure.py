"""Everything that is unsure of a balance, and what each of it does to every stage.

An *influence* is one thing that is unsure of one element, the data of a material as one element uses them, or
something about the cooler. Each is followed to both its ends: by the derivatives of the balance where it does
little, solved again where it does much.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.thermal.absent import Absent, without_each
from server.physics.thermal.lift import Settings
from server.physics.thermal.recipe import PLATFORM
from server.physics.thermal.rows import stacked_ends
from server.physics.thermal.solve import settled, solve
from server.physics.thermal.state import TWO, State, subtracted_W
from server.physics.thermal.system import STAGES, Indices, heat_of

SMALL = 0.02
"""Up to this part of a temperature an influence is followed by derivatives."""

COOLER = -1
"""In place of an element's number: the influence is the cooler's."""


@dataclass(frozen=True, eq=False)
class Influences:
    """Influences as rows of arrays.

    Attributes
    ----------
    what : list of str
        What is unsure.
    element : (n,) array
        Whose it is, or `COOLER`.
    shared : (n,) array
        Number of the material's row where data are shared by all elements of that material, else −1.
    ranged, open_ended : (n,) arrays of bool
        Whether only the range is known; whether the high end is a mere example of more.
    heat_W : (2, n, stages) array
        What the low and the high end change in the heat the element brings now [W].
    net_W : (2, n, stages) array
        The same, less what they change in the load that the bare reference leaves unexplained [W].
    kelvin : (2, n, stages) array
        What they change in the temperatures [K].
    own_K : (2, n, stages) array
        What they change in the temperatures if the bare reference keeps its elements as they are [K].
    absent : Absent
        The temperatures without each element.
    """

    what: list[str]
    element: Indices
    shared: Indices
    ranged: NDArray[np.bool_]
    open_ended: NDArray[np.bool_]
    heat_W: Array
    net_W: Array
    kelvin: Array
    own_K: Array
    absent: Absent

    @cached_property
    def causes(self) -> "Causes":
        """What is one cause taken together: a material's data whoever uses it, all else by itself."""
        own = self.shared < 0
        _, data = np.unique(self.shared[~own], return_inverse=True)
        group, alone = np.empty(len(own), dtype=np.intp), int(own.sum())
        group[own], group[~own] = np.arange(alone), alone + data
        count = int(group.max(initial=-1)) + 1
        ranged, open_ended = (
            np.bincount(group, flag, count) > 0.0 for flag in (self.ranged, self.open_ended)
        )
        return Causes(group, by_group(self.kelvin, group, count), ranged, open_ended)


@dataclass(frozen=True, eq=False)
class Causes:
    """Causes as rows of arrays.

    Attributes
    ----------
    group : (influences,) array
        The cause each influence belongs to.
    kelvin : (2, n, stages) array
        What the low and the high end of each cause change in the temperatures [K].
    ranged, open_ended : (n,) arrays of bool
        As of the influences.
    """

    group: Indices
    kelvin: Array
    ranged: NDArray[np.bool_]
    open_ended: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """How many causes there are."""
        return len(self.ranged)


def by_group(values: Array, group: Indices, count: int) -> Array:
    """Values (2, n, stages) added up by group: (2, count, stages)."""
    flat = (group[:, None] * STAGES + np.arange(STAGES)).ravel()
    ends = [np.bincount(flat, end.ravel(), count * STAGES) for end in values]
    return np.array(ends, dtype=float).reshape(2, count, STAGES)


def down_and_up(values: Array) -> tuple[Array, Array]:
    """How far low and high ends (2, …) lie below and above nought."""
    low, high = values
    return np.minimum(np.minimum(low, high), 0.0), np.maximum(np.maximum(low, high), 0.0)


@dataclass(frozen=True, eq=False)
class Changes:
    """What influences of elements change, entry by entry: which influence, which slot, by how much.

    `coefficient` is (2, entries), for the low and the high end.
    """

    what: list[str]
    element: Indices
    shared: Indices
    ranged: NDArray[np.bool_]
    open_ended: NDArray[np.bool_]
    influence: Indices
    slot: Indices
    coefficient: Array

    @property
    def count(self) -> int:
        """How many influences there are."""
        return len(self.what)

    def heat_W(self, state: State, weights: Array, drive: Array) -> Array:
        """What they change in the heat into every stage, for the drive of every slot: (2, n, stages)."""
        system = state.problem.system
        flow = self.coefficient * (weights[self.element][self.influence] * drive[self.slot])
        ends = [heat_of(system, self.influence, self.count, self.slot, flow[end]) for end in (0, 1)]
        return np.array(ends)

    def dense(self, picked: NDArray[np.bool_], end: int, slots: int) -> Array:
        """Changes of every slot at one end by the picked influences: (picked, slots)."""
        place = np.cumsum(picked) - 1
        mine = picked[self.influence]
        flat = place[self.influence[mine]] * slots + self.slot[mine]
        count = int(picked.sum())
        summed = np.bincount(flat, self.coefficient[end][mine], minlength=count * slots)
        return np.asarray(summed, dtype=float).reshape(count, slots)


def influences(state: State, changes: Changes) -> Influences:
    """Every influence on a balance: `changes` of the elements, and what is unsure of the cooler."""
    heat_W = changes.heat_W(state, state.inventory.now, state.residuals.drives.value[0])
    net_W = heat_W.copy()
    net_W[..., TWO] -= _change_of_subtracted_W(state, changes)
    kelvin, own_K = (np.asarray(watts @ state.response_K_W.T) for watts in (net_W, heat_W))
    in_bare = state.inventory.bare[changes.element] > 0.0
    _solve_again(state, changes, kelvin, np.ones(changes.count, dtype=bool), state.inventory.bare)
    only_now = ~in_bare[:, None]
    np.copyto(own_K, kelvin, where=only_now)
    _solve_again(state, changes, own_K, in_bare, np.zeros(len(state.recipes)))
    absent = without_each(state)
    _hold_back(state, changes, own_K, absent)
    np.copyto(kelvin, own_K, where=only_now)
    what, ranged, cooler_K = _of_cooler(state)
    count = len(what)
    none_W = np.zeros((2, count, STAGES))
    return Influences(
        changes.what + what,
        np.concatenate([changes.element, np.full(count, COOLER)]),
        np.concatenate([changes.shared, np.full(count, -1)]),
        np.concatenate([changes.ranged, ranged]),
        np.concatenate([changes.open_ended, np.zeros(count, dtype=bool)]),
        np.concatenate([heat_W, none_W], axis=1),
        np.concatenate([net_W, none_W], axis=1),
        np.concatenate([kelvin, cooler_K], axis=1),
        np.concatenate([own_K, np.zeros_like(cooler_K)], axis=1),
        absent,
    )


def changes_of(state: State) -> Changes:
    """The knobs of all elements, then the data of every material, one influence for each that uses it."""
    system = state.problem.system
    owners = [number for number, recipe in enumerate(state.recipes) if recipe.knobs]
    unsure = [state.recipes[number] for number in owners]
    element, influence, term, by_knob = _knob_changes(state, owners)
    users, rows, group, terms, by_data = _data_changes(state)
    names = [f"conductivity of {row.name}" for row in system.rows]
    none, count = [False] * len(users), len(element)
    return Changes(
        what=[*_joined(recipe.names for recipe in unsure), *(names[row] for row in rows.tolist())],
        element=np.concatenate([element, users]),
        shared=np.concatenate([np.full(count, -1), rows]),
        ranged=np.array([*_joined(recipe.ranged for recipe in unsure), *none], dtype=bool),
        open_ended=np.array([*_joined(recipe.open_ended for recipe in unsure), *none], dtype=bool),
        influence=np.concatenate([influence, group + count]),
        slot=system.terms.slot[np.concatenate([term, terms])],
        coefficient=np.concatenate([by_knob, by_data], axis=1),
    )


_joined = chain.from_iterable


def _knob_changes(state: State, owners: list[int]) -> tuple[Indices, Indices, Indices, Array]:
    """Element of every knob, then entries: influence, term, change at both ends."""
    counts = [len(state.recipes[number].knobs) for number in owners]
    element, none = np.repeat(np.array(owners, dtype=np.intp), counts), np.zeros(0, dtype=np.intp)
    if not owners:
        return element, none, none, np.zeros((2, 0))
    parts = [state.recipes[owner].changes for owner in owners]
    many = [len(part[0]) for part in parts]
    influence, term, low, high = (np.concatenate(part) for part in zip(*parts, strict=True))
    influence += np.repeat(np.cumsum([0, *counts[:-1]]), many)
    term += np.repeat(np.searchsorted(state.problem.system.terms.element, owners), many)
    return element, influence, term, np.stack([low, high])


def _data_changes(state: State) -> tuple[Indices, Indices, Indices, Indices, Array]:
    """Users and rows of the materials' data, then entries: influence, term, change at both ends."""
    system, terms = state.problem.system, state.problem.system.terms
    factor = _data_factors(state)
    unsure = np.flatnonzero((factor != 0.0).any(axis=0)[terms.slot])
    slot = terms.slot[unsure]
    pairs, group = np.unique(terms.element[unsure] * len(system.rows) + system.row[slot], return_inverse=True)
    users, rows = np.divmod(pairs, len(system.rows))
    return users, rows, group.astype(np.intp), unsure, terms.coefficient[unsure] * factor[:, slot]


def _data_factors(state: State) -> Array:
    """Relative change of every slot at the low and the high end of its material's data: (2, slots)."""
    system = state.problem.system
    hot, cold = (system.hot, system.row), (system.cold, system.row)
    middle, low, high = (
        values[hot] - values[cold]
        for values in (stack.at(state.T_K)[0] for stack in (system.stack, *stacked_ends(system.rows)))
    )
    known = (np.abs(middle) > 0.0) & ~system.given
    middle = np.where(known, middle, 1.0)
    return np.array([np.where(known, end / middle - 1.0, 0.0) for end in (low, high)])


def _change_of_subtracted_W(state: State, changes: Changes) -> Array:
    """What the changes do to the heat of the bare reference, on the cooled stages: (2, n, 2)."""
    if not state.inventory.bare[changes.element].any():
        return np.zeros((2, changes.count, 2))
    system = state.problem.system
    there = state.bare_residuals
    heat_W = changes.heat_W(state, state.inventory.bare, there.drives.value[0])
    known_W, slopes_W_K = system.heat_W(state.bare[None, :], there.drives)
    loose = np.flatnonzero(state.bare_problem.floating)
    if len(loose):
        warming = -np.linalg.solve(slopes_W_K[0][np.ix_(loose, loose)], heat_W[..., loose, None])[..., 0]
        heat_W = heat_W + warming @ slopes_W_K[0][:, loose].T
    lift, now_W = state.problem.lift, known_W[:, TWO]
    then_W = now_W + heat_W[..., TWO].reshape(-1, 2)
    moved_W = lift.reference_W(state.settings, then_W) - lift.reference_W(state.settings, now_W)
    return np.asarray(heat_W[..., TWO] - moved_W.reshape(2, -1, 2))


def _solve_again(
    state: State, changes: Changes, kelvin: Array, those: NDArray[np.bool_], bare_weights: Array
) -> None:
    """Replace, in place, what derivatives said of `those` where that was a lot.

    `bare_weights` are the elements of the bare reference that change with them.
    """
    slots = len(state.problem.system.row)
    large = [those & (np.abs(kelvin[end]) > SMALL * state.T_K).any(axis=1) for end in (0, 1)]
    if not (large[0].any() or large[1].any()):
        return
    change = np.concatenate([changes.dense(large[end], end, slots) for end in (0, 1)])
    owner = np.concatenate([changes.element[picked] for picked in large])
    about_K = np.concatenate([kelvin[end, large[end]] for end in (0, 1)])
    now = state.now + state.inventory.now[owner][:, None] * change
    bare = state.bare + bare_weights[owner][:, None] * change
    start_K = np.maximum(state.T_K + about_K, 0.5 * state.T_K)
    shared = bare_weights[owner].any()
    found_K = solve_variants(state, now, bare if shared else state.bare, state.settings, start_K) - state.T_K
    kelvin[0, large[0]], kelvin[1, large[1]] = np.split(found_K, [int(large[0].sum())])


def _hold_back(state: State, changes: Changes, own_K: Array, absent: Absent) -> None:
    """Shrink, in place, what one element's doubts say together to what it can do at all.

    Not beyond what it costs, and where several of its doubts do much, not colder than with all of them at
    their cold ends.
    """
    place = absent.place(changes.element)
    mine = place >= 0
    if not mine.any():
        return
    sides = np.stack(down_and_up(own_K))
    flat = (place[mine][:, None] * STAGES + np.arange(STAGES)).ravel()
    count = len(absent.numbers)
    squares = [np.bincount(flat, side[mine].ravel() ** 2, count * STAGES) for side in sides]
    far_K = np.sqrt(squares).reshape(2, count, STAGES)
    limit_K = absent.furthest_K()
    several = np.bincount(place[mine], minlength=count) > 1
    much = several & ~absent.may_cool & (far_K[0] > SMALL * state.T_K).any(axis=1)
    if much.any():
        least_K = state.T_K - _coldest_K(state, changes, own_K, absent, much)
        singly_K = np.zeros((count, STAGES))
        np.maximum.at(singly_K, place[mine], -sides[0][mine])
        limit_K[0, much] = np.minimum(limit_K[0, much], np.maximum(least_K, singly_K[much]))
    share = np.minimum(1.0, limit_K / np.maximum(far_K, 1e-30))
    if (share < 1.0).any():
        held = np.ones(sides.shape)
        held[:, mine] = share[:, place[mine]]
        own_K *= np.where(own_K < 0.0, held[0], np.where(own_K > 0.0, held[1], 1.0))


def _coldest_K(
    state: State, changes: Changes, own_K: Array, absent: Absent, picked: NDArray[np.bool_]
) -> Array:
    """Temperatures with all that is unsure of one element at the end that makes the coldest stage colder."""
    rows = np.flatnonzero(picked)
    row = np.full(len(picked), -1)
    row[rows] = np.arange(len(rows))
    place = absent.place(changes.element)
    owner = np.where(place >= 0, row[place], -1)[changes.influence]
    mine = owner >= 0
    end = np.argmin(own_K[:, :, PLATFORM], axis=0)[changes.influence[mine]]
    change = changes.coefficient[end, np.flatnonzero(mine)]
    alone = absent.coefficients[rows]
    base = alone[owner[mine], changes.slot[mine]]
    factor = np.ones_like(alone)
    known = base != 0.0
    part = 1.0 + change[known] / base[known]
    np.multiply.at(factor, (owner[mine][known], changes.slot[mine][known]), np.maximum(part, 0.0))
    now = state.now + alone * (factor - 1.0)
    start_K = np.maximum(state.T_K - absent.cost_K[rows], 0.5 * state.T_K)
    return solve_variants(state, now, state.bare, state.settings, start_K)


def solve_variants(state: State, now: Array, bare: Array, settings: Settings, start_K: Array) -> Array:
    """Temperatures (variants, stages) for coefficients (variants, slots) of both configurations."""
    if bare is state.bare and settings is state.settings:
        subtract_W = state.subtract_W
    else:
        bare = np.broadcast_to(bare, now.shape)
        bare_K = np.broadcast_to(state.bare_K, start_K.shape)
        there = settled(state.bare_problem, bare_K, bare, np.zeros((1, 2)), settings)[1]
        subtract_W = subtracted_W(state.problem, there.heat_W, settings)
    return solve(state.problem, start_K, now, subtract_W, settings)


def _of_cooler(state: State) -> tuple[list[str], NDArray[np.bool_], Array]:
    """What is unsure of the cooler: names, whether only the range is known, kelvin at both ends."""
    both = [settings for knob in state.knobs for settings in (knob.low, knob.high)]
    ranged = np.array([knob.ranged for knob in state.knobs], dtype=bool)
    if not both:
        return [], ranged, np.zeros((2, 0, STAGES))
    settings = Settings.stacked(both)
    subtract_W = subtracted_W(state.problem, state.bare_residuals.heat_W, settings)
    heat_W = state.residuals.heat_W[:, TWO]
    moved_K = np.zeros((len(both), STAGES))
    moved_K[:, TWO] = state.problem.lift.kelvin(heat_W - subtract_W, settings)[0] - state.T_K[TWO]
    moved_K[:, ~state.problem.cooled] = 0.0
    kelvin = np.linalg.solve(state.residuals.slopes[0], moved_K.T).T
    if (np.abs(kelvin) > SMALL * state.T_K).any():
        now, bare = (np.broadcast_to(one, (len(both), len(one))) for one in (state.now, state.bare))
        kelvin = solve_variants(state, now, bare, settings, state.T_K + kelvin) - state.T_K
    return [knob.what for knob in state.knobs], ranged, kelvin.reshape(-1, 2, STAGES).transpose(1, 0, 2)
