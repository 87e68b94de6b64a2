"""Many configurations of one cryostat at once: their temperatures, without bands."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.physics.errors import NotSolved, Unphysical
from server.physics.materials.arrays import Array
from server.physics.thermal import fields
from server.physics.thermal.compile import compiled_plainly
from server.physics.thermal.cooler import Cryostat, faults
from server.physics.thermal.elements import Element
from server.physics.thermal.judging import incomplete_from
from server.physics.thermal.recipe import INDEX, SHIELD, Place
from server.physics.thermal.results import Gap
from server.physics.thermal.solve import solve
from server.physics.thermal.state import (
    State,
    coefficients_of,
    first_balance,
    first_place,
    take_stock,
    uncovered,
)
from server.physics.thermal.system import STAGES, Indices, System


def temperatures(cryostat: Cryostat, batch: Sequence[Sequence[Element]]) -> list[dict[str, float]]:
    """Temperatures of many configurations, each at its best values.

    Parameters
    ----------
    cryostat : Cryostat
        The instrument they share.
    batch : sequence of sequences of elements
        The configurations. An element that is in several is best the same object in all of them.

    Returns
    -------
    list of dict
        For each configuration stage → temperature [K]. A stage that reads incomplete, because something
        could not be computed or nothing says what it hangs on, is not in it; nothing is, if there is no
        balance.

    Raises
    ------
    Unphysical
        When nothing can be made of the cooler's data.

    Notes
    -----
    As `balance`, but what depends on temperature only a little (emissivities, the heat of a current, gas that
    freezes) is taken at the middle of what all the configurations give.

    Examples
    --------
    >>> from server.physics.thermal import Cryostat, HeaterPoint, HeaterTest, Source
    >>> test = HeaterTest((HeaterPoint("platform", 0.0, 32.0, 3.2), HeaterPoint("platform", 0.1, 32.0, 3.9)))
    >>> cryostat = Cryostat(("vessel", "shield", "platform"), test)
    >>> batch = [[Source("s", "heater", "platform", power_W)] for power_W in (0.0, 0.05)]
    >>> [round(found["platform"], 3) for found in temperatures(cryostat, batch)]
    [3.2, 3.55]

    References
    ----------
    As `balance`.
    """
    wrong = faults(cryostat.cooler)
    if wrong:
        raise Unphysical(" ".join(wrong.values()))
    if not batch:
        return []
    numbers: dict[int, int] = {}
    for element in (element for build in batch for element in build):
        numbers.setdefault(id(element), len(numbers))
    by_id = {id(element): element for build in batch for element in build}
    everything = [by_id[known] for known in numbers]
    weights = np.zeros((len(batch), len(everything)))
    for row, build in enumerate(batch):
        for element in build:
            weights[row, numbers[id(element)]] += 1.0
    return _solved(cryostat, everything, weights)


def _solved(cryostat: Cryostat, everything: list[Element], weights: Array) -> list[dict[str, float]]:
    inventory, place = take_stock(cryostat, everything), first_place(cryostat)
    more = len(inventory.elements) - len(everything)
    weights = np.pad(weights, ((0, 0), (0, more)))
    first = replace(inventory, now=weights[0], twice=())
    recipes = [compiled_plainly(element, place) for element in inventory.elements]
    moving = [number for number, recipe in enumerate(recipes) if recipe.nature.feels]
    state = first_balance(cryostat, first, tuple(recipes), place)
    T_K, now = _many(state, weights)
    if moving:
        middle_K = np.nanmedian(T_K, axis=0)
        if np.isfinite(middle_K).all():
            place = place._replace(temperatures_K=tuple(middle_K.tolist()))
            for number in moving:
                recipes[number] = compiled_plainly(inventory.elements[number], place)
            state = first_balance(cryostat, first, tuple(recipes), place)
            T_K, now = _many(state, weights)
    return _told(state, place, weights, T_K, now)


def _many(state: State, weights: Array) -> tuple[Array, Array]:
    """Temperatures (variants, stages), not numbers where there is no balance, and coefficients."""
    system = state.problem.system
    by_element = np.zeros((len(state.recipes), len(system.row)))
    np.add.at(by_element, (system.terms.element, system.terms.slot), system.terms.coefficient)
    now = weights @ by_element
    for row, extra in _hung(state, system, weights):
        now[row, system.extra] += extra
    start_K = np.repeat(state.T_K[None, :], len(weights), axis=0)
    try:
        return solve(state.problem, start_K, now, state.subtract_W, state.settings), now
    except NotSolved:
        rows = [_one(state, start_K[[row]], now[[row]]) for row in range(len(now))]
        return np.concatenate(rows), now


def _one(state: State, start_K: Array, now: Array) -> Array:
    try:
        return solve(state.problem, start_K, now, state.subtract_W, state.settings)
    except NotSolved:
        return np.full((1, STAGES), np.nan)


def _hung(state: State, system: System, weights: Array) -> list[tuple[Indices, Array]]:
    """What hangs on nothing in some of the variants, and what it is given instead of a joint."""
    joints = list(state.inventory.joints)
    patterns, which = np.unique(weights[:, joints] > 0.0, axis=0, return_inverse=True)
    found = []
    for number, pattern in enumerate(patterns):
        row = np.flatnonzero(which.ravel() == number)
        one = np.zeros(weights.shape[1])
        one[joints] = pattern
        given = coefficients_of(state, system, one)[0] - system.total(one)
        found.append((row[:, None], given[system.extra]))
    return found


def _told(state: State, place: Place, weights: Array, T_K: Array, now: Array) -> list[dict[str, float]]:
    """What may be said of each variant."""
    stages = [stage for stage in fields.STAGES[1:] if place.has(stage)]
    outside = uncovered(state.problem.system, T_K) & (now != 0.0)
    gapped = {number: recipe.gap for number, recipe in enumerate(state.recipes) if recipe.gap is not None}
    found = []
    for row in range(len(weights)):
        gaps = [gap for number, gap in gapped.items() if weights[row, number]]
        if outside[row].any():
            gaps.append(Gap("", None, ""))
        joined = _stages_told(state, weights[row])
        end = incomplete_from(gaps) if np.isfinite(T_K[row]).all() else SHIELD
        names = [stage for stage in stages if INDEX[stage] < end and joined[INDEX[stage]]]
        found.append({stage: float(T_K[row, INDEX[stage]]) for stage in names})
    return found


def _stages_told(state: State, weights: Array) -> list[bool]:
    told: list[bool] = coefficients_of(state, state.problem.system, weights)[1].tolist()
    return told
