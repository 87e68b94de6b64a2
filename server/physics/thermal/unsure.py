"""Everything that is unsure of a balance, and what each of it does to every stage.

An *influence* is one thing that is unsure of one element, the data of a material as one element uses them, or
something about the cooler. Each is followed to both its ends: by the derivatives of the balance where it does
little, solved again where it does much.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.thermal.lift import Settings
from server.physics.thermal.rows import stacked_ends
from server.physics.thermal.solve import residuals, solve
from server.physics.thermal.state import TWO, State, subtracted_W
from server.physics.thermal.system import STAGES, Indices

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
    kelvin : (2, n, stages) array
        What they change in the temperatures [K].
    """

    what: list[str]
    element: Indices
    shared: Indices
    ranged: NDArray[np.bool_]
    open_ended: NDArray[np.bool_]
    heat_W: Array
    kelvin: Array


def influences(state: State) -> Influences:
    """Every influence on a balance."""
    what, element, shared, ranged, open_ended, change = _changes(state)
    system = state.problem.system
    drive = system.drives(state.T_K[None, :])[0]
    now = state.inventory.now[element]
    heat_W = (change * (now[:, None] * drive)) @ system.enters
    kelvin = _linear_K(state, change, element, heat_W)
    _solve_again(state, change, element, kelvin)
    cooler_what, cooler_ranged, cooler_K = _of_cooler(state)
    count = len(cooler_what)
    return Influences(
        what + cooler_what,
        np.concatenate([element, np.full(count, COOLER)]),
        np.concatenate([shared, np.full(count, -1)]),
        np.concatenate([ranged, cooler_ranged]),
        np.concatenate([open_ended, np.zeros(count, dtype=bool)]),
        np.concatenate([heat_W, np.zeros((2, count, STAGES))], axis=1),
        np.concatenate([kelvin, cooler_K], axis=1),
    )


Changes = tuple[list[str], Indices, Indices, NDArray[np.bool_], NDArray[np.bool_], Array]


def _changes(state: State) -> Changes:
    """For every influence of an element what its ends change in every slot: (2, n, slots)."""
    system = state.problem.system
    slots, width = system.terms, len(system.row)
    starts = np.searchsorted(slots.element, np.arange(len(state.recipes) + 1))
    what, element, ranged, open_ended, changed = [], [], [], [], []
    for number, recipe in enumerate(state.recipes):
        here = slots.slot[starts[number] : starts[number + 1]]
        for knob in recipe.knobs:
            what.append(knob.what)
            element.append(number)
            ranged.append(knob.ranged)
            open_ended.append(knob.open_ended)
            changed.append((here, knob.low, knob.high))
    change = np.zeros((2, len(what), width))
    if changed:
        row = np.repeat(np.arange(len(what)), [len(part[0]) for part in changed])
        flat = row * width + np.concatenate([part[0] for part in changed])
        for end in (0, 1):
            values = np.concatenate([part[1 + end] for part in changed])
            change[end] = np.bincount(flat, values, minlength=len(what) * width).reshape(-1, width)
    names, users, rows, by_data = _data_changes(state)
    count = len(names)
    return (
        what + names,
        np.array(element + users, dtype=np.intp),
        np.concatenate([np.full(len(what), -1), rows]).astype(np.intp),
        np.array(ranged + [False] * count, dtype=bool),
        np.array(open_ended + [False] * count, dtype=bool),
        np.concatenate([change, by_data], axis=1),
    )


def _data_changes(state: State) -> tuple[list[str], list[int], Indices, Array]:
    """The same for the data of every material, one influence for each element that uses it."""
    system = state.problem.system
    factor = _data_factors(state)
    terms, width = system.terms, len(system.row)
    unsure = (factor != 0.0).any(axis=0)[terms.slot]
    pairs, which = np.unique(
        terms.element[unsure] * len(system.rows) + system.row[terms.slot[unsure]], return_inverse=True
    )
    change = np.zeros((2, len(pairs), width))
    flat = which * width + terms.slot[unsure]
    for end in (0, 1):
        values = terms.coefficient[unsure] * factor[end][terms.slot[unsure]]
        change[end] = np.bincount(flat, values, minlength=len(pairs) * width).reshape(-1, width)
    users, rows = np.divmod(pairs, len(system.rows))
    names = [f"conductivity of {system.rows[row].name}" for row in rows.tolist()]
    return names, users.tolist(), rows.astype(np.intp), change


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


def _linear_K(state: State, change: Array, element: Indices, heat_W: Array) -> Array:
    """What small changes of coefficients do to the temperatures."""
    at = state.residuals()
    less_W = _change_of_subtracted_W(state, change, element)
    net_W = heat_W.copy()
    net_W[..., TWO] -= less_W
    response = np.linalg.solve(at.slopes[0], at.kelvin_per_W[0])
    return np.asarray(net_W @ response.T)


def _change_of_subtracted_W(state: State, change: Array, element: Indices) -> Array:
    """What the changes do to the heat of the bare reference, on the cooled stages: (2, n, 2)."""
    bare = state.inventory.bare[element]
    if not bare.any():
        return np.zeros((*change.shape[:2], 2))
    system = state.problem.system
    drive = system.drives(state.bare_K[None, :])[0]
    heat_W = (change * (bare[:, None] * drive)) @ system.enters
    slopes = system.heat_W(state.bare[None, :], state.bare_K[None, :])[1][0]
    loose = np.flatnonzero(state.bare_problem.floating)
    if len(loose):
        warming = -np.linalg.solve(slopes[np.ix_(loose, loose)], heat_W[..., loose, None])[..., 0]
        heat_W = heat_W + warming @ slopes[:, loose].T
    known_W = system.heat_W(state.bare[None, :], state.bare_K[None, :])[0][:, TWO]
    reference_W = state.problem.lift.reference_W(state.settings, known_W)
    flat = (known_W + heat_W[..., TWO].reshape(-1, 2)).reshape(-1, 2)
    moved_W = state.problem.lift.reference_W(state.settings, flat) - reference_W
    return np.asarray(heat_W[..., TWO] - moved_W.reshape(heat_W[..., TWO].shape))


def _solve_again(state: State, change: Array, element: Indices, kelvin: Array) -> None:
    """Replace, in place, what derivatives said where that was a lot."""
    large = (np.abs(kelvin) > SMALL * state.T_K).any(axis=2)
    if not large.any():
        return
    changes = change[large]
    owner = np.broadcast_to(element, large.shape)[large]
    now = state.now + state.inventory.now[owner][:, None] * changes
    bare = state.bare + state.inventory.bare[owner][:, None] * changes
    kelvin[large] = solve_variants(state, now, bare, state.settings) - state.T_K


def solve_variants(state: State, now: Array, bare: Array, settings: Settings) -> Array:
    """Temperatures (variants, stages) for coefficients (variants, slots) of both configurations."""
    count = len(now)
    start_K = np.broadcast_to(state.T_K, (count, STAGES))
    same_bare = bool((bare == state.bare).all()) and settings is state.settings
    if same_bare:
        subtract_W = np.broadcast_to(state.subtract_W, (count, 2))
    else:
        bare_K = np.broadcast_to(state.bare_K, (count, STAGES))
        bare_K = solve(state.bare_problem, bare_K, bare, np.zeros((count, 2)), settings)
        subtract_W = subtracted_W(state.problem, bare_K, bare, settings)
    return solve(state.problem, start_K, now, subtract_W, settings)


def _of_cooler(state: State) -> tuple[list[str], NDArray[np.bool_], Array]:
    """What is unsure of the cooler: names, whether only the range is known, kelvin at both ends."""
    kelvin = np.zeros((2, len(state.knobs), STAGES))
    at = state.residuals()
    for number, knob in enumerate(state.knobs):
        for end, settings in enumerate((knob.low, knob.high)):
            subtract_W = subtracted_W(state.problem, state.bare_K[None, :], state.bare[None, :], settings)
            moved = residuals(state.problem, state.T_K[None, :], state.now[None, :], subtract_W, settings)
            kelvin[end, number] = np.linalg.solve(at.slopes[0], at.miss_K[0] - moved.miss_K[0])
            if (np.abs(kelvin[end, number]) > SMALL * state.T_K).any():
                again = solve_variants(state, state.now[None, :], state.bare[None, :], settings)
                kelvin[end, number] = again[0] - state.T_K
    ranged = np.array([knob.ranged for knob in state.knobs], dtype=bool)
    return [knob.what for knob in state.knobs], ranged, kelvin
