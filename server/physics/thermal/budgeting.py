"""From a balance and what is unsure of it to bands, costs and causes."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.statistics import Band
from server.physics.thermal import fields
from server.physics.thermal.elements import Joint
from server.physics.thermal.recipe import INDEX, PLATFORM, SHIELD
from server.physics.thermal.results import Cause
from server.physics.thermal.state import TWO, State
from server.physics.thermal.system import STAGES, Indices
from server.physics.thermal.unsure import COOLER, Influences, solve_variants

NOTICEABLE = 2e-4
"""Part of a temperature below which a mere range does not take the best value away."""

LEAST_CAUSE = 2e-6
"""Part of a temperature below which a cause is not told."""

MOST_CAUSES = 60
NOTHING = 1e-18
"""What rounding leaves of a heat or a temperature that is none."""

ZERO = Band.exact(0.0)


class Spread(NamedTuple):
    """How far numbers may lie from their middle: down, up; whether they have a best and an upper end."""

    down: Array
    up: Array
    best: NDArray[np.bool_]
    bounded: NDArray[np.bool_]


def gather(
    values: Array,
    groups: Indices,
    count: int,
    ranged: NDArray[np.bool_],
    open_ended: NDArray[np.bool_],
    least: Array,
) -> Spread:
    """Add up influences (2, n, stages) by group, in quadrature on either side.

    A mere range takes the best away and an open end the upper end, where what they do is more than `least`.
    """
    down, up = -np.minimum(values.min(axis=0), 0.0), np.maximum(values.max(axis=0), 0.0)
    much = (down + up) > least
    sums = np.zeros((4, count, STAGES))
    parts = (
        down**2,
        np.where(open_ended[:, None], 0.0, up) ** 2,
        much & ranged[:, None],
        much & open_ended[:, None],
    )
    for total, part in zip(sums, parts, strict=True):
        np.add.at(total, groups, part)
    return Spread(np.sqrt(sums[0]), np.sqrt(sums[1]), (sums[2] + sums[3]) == 0.0, sums[3] == 0.0)


def temperature_spread(state: State, found: Influences) -> Spread:
    """Of every stage. Data shared by elements of one material are wrong for all of them at once."""
    own = found.shared < 0
    rows = np.unique(found.shared[~own])
    shared = np.zeros((2, len(rows), STAGES))
    place = np.searchsorted(rows, found.shared[~own])
    for end in (0, 1):
        np.add.at(shared[end], place, found.kelvin[end, ~own])
    values = np.concatenate([found.kelvin[:, own], shared], axis=1)
    flags = [
        np.concatenate([flag[own], np.zeros(len(rows), bool)]) for flag in (found.ranged, found.open_ended)
    ]
    groups = np.zeros(values.shape[1], dtype=np.intp)
    return gather(values, groups, 1, flags[0], flags[1], NOTICEABLE * state.T_K)


def temperature_bands(state: State, spread: Spread) -> dict[str, Band]:
    """Of every stage whose temperature can be told. Beyond what the cooler was tested at: *more than*."""
    ceiling_K, beyond = tested_K(state)
    found: dict[str, Band] = {}
    for stage, name in enumerate(fields.STAGES):
        if name not in state.cryostat.stages[1:] or not state.told[stage]:
            continue
        middle = float(state.T_K[stage])
        low, high = middle - float(spread.down[0, stage]), middle + float(spread.up[0, stage])
        hangs = stage > PLATFORM and "platform" in found and found["platform"].high is None
        open_above = hangs or not spread.bounded[0, stage] or high > ceiling_K[stage]
        best = middle if spread.best[0, stage] and not beyond[stage] else None
        found[name] = Band(max(low, 0.1), best, None if open_above else high)
    return found


def tested_K(state: State) -> tuple[Array, NDArray[np.bool_]]:
    """How warm each stage may get before the cooler is beyond its test, and whether it is beyond at its best.

    What hangs on the platform is beyond when the platform is.
    """
    ceiling_K, beyond = np.full(STAGES, np.inf), np.zeros(STAGES, dtype=bool)
    load_W = cooler_load_W(state)
    for number, stage in enumerate((SHIELD, PLATFORM)):
        limit_W = state.problem.lift.tested_W[number]
        if state.problem.cooled[stage] and np.isfinite(limit_W):
            at_limit = load_W.copy()
            at_limit[0, number] = limit_W
            kelvin = state.problem.lift.kelvin(at_limit, state.settings)[0]
            spread_K = state.cryostat.cooler.spread_K.get(fields.STAGES[stage], 0.0)
            ceiling_K[stage] = kelvin[0, number] + spread_K + 1e-9
            beyond[stage] = load_W[0, number] > limit_W * (1.0 + 1e-9)
    if beyond[PLATFORM]:
        beyond[PLATFORM:] = True
    return ceiling_K, beyond


def cooler_load_W(state: State) -> Array:
    """Watts the cooler sees beyond its reference (of a map: all of them): (1, 2)."""
    heat_W = state.problem.system.heat_W(state.now[None, :], state.T_K[None, :])[0]
    return np.asarray(heat_W[:, TWO] - state.subtract_W)


class Shares(NamedTuple):
    """What each element of the configuration brings or costs: (elements, stages), and how unsure it is."""

    numbers: Indices
    values: Array
    spread: Spread


def heat_shares(state: State, found: Influences) -> Shares:
    """Heat of every element into every stage at the answer [W]."""
    numbers = np.array([n for n in range(len(state.recipes)) if counts(state, n)], dtype=np.intp)
    system = state.problem.system
    drive = system.drives(state.T_K[None, :])[0][0]
    heat_W = (_by_slot(state, numbers) * drive) @ system.enters
    spread = _own(found, found.heat_W, numbers, len(state.recipes), np.zeros(STAGES))
    for place, number in enumerate(numbers.tolist()):
        if isinstance(state.inventory.elements[number], Joint):
            _of_joint(state, found, number, place, spread)
    return Shares(numbers, heat_W, spread)


def _of_joint(state: State, found: Influences, number: int, place: int, spread: Spread) -> None:
    """A joint carries whatever lands on what it holds: all that is unsure of that is unsure of it."""
    joint = state.inventory.elements[number]
    assert isinstance(joint, Joint)
    ends = [INDEX[joint.cold_stage], INDEX[joint.hot_stage]]
    own = (found.element == number)[:, None] * found.heat_W[..., ends[1]][..., None]
    moved_K = found.kelvin[..., ends[0]] - found.kelvin[..., ends[1]]
    into_W = state.recipes[number].coefficient[0] * moved_K + own[..., 0]
    for end, sign in zip(ends, (-1.0, 1.0), strict=True):
        values = np.zeros((*into_W.shape, STAGES))
        values[..., end] = sign * into_W
        groups = np.zeros(into_W.shape[1], dtype=np.intp)
        least = np.full(STAGES, 1e-9)
        one = gather(values, groups, 1, found.ranged, found.open_ended, least)
        for whole, part in zip(spread, one, strict=True):
            whole[place, end] = part[0, end]


def cost_shares(state: State, found: Influences) -> Shares:
    """What every element costs every stage [K]: with all, minus with all but this one, solved again.

    A joint has no cost: without it nothing would be known of what it carries.
    """
    costed = (n for n in range(len(state.recipes)) if counts(state, n))
    joint = (n for n in costed if not isinstance(state.inventory.elements[n], Joint))
    numbers = np.array(list(joint), dtype=np.intp)
    cost_K = np.zeros((len(numbers), STAGES))
    if len(numbers):
        without = state.now - _by_slot(state, numbers)
        bare = np.broadcast_to(state.bare, without.shape)
        cost_K = state.T_K - solve_variants(state, without, bare, state.settings)
    least = NOTICEABLE / 10.0 * state.T_K
    return Shares(numbers, cost_K, _own(found, found.kelvin, numbers, len(state.recipes), least))


def _by_slot(state: State, numbers: Indices) -> Array:
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


def _own(found: Influences, values: Array, numbers: Indices, count: int, least: Array) -> Spread:
    """What is unsure of each element's own share."""
    place = np.full(count + 1, -1)
    place[numbers] = np.arange(len(numbers))
    groups = place[found.element]
    mine = groups >= 0
    flags = found.ranged[mine], found.open_ended[mine]
    return gather(values[:, mine], groups[mine], len(numbers), *flags, least)


def counts(state: State, number: int) -> bool:
    """Whether an element belongs to the configuration and could be computed."""
    return bool(state.inventory.now[number]) and state.recipes[number].gap is None


def bands_by_element(state: State, found: Shares, stages: Sequence[str]) -> dict[str, dict[str, Band]]:
    """Bands for every element and stage, nothing for an element that has no share."""
    bands: dict[str, dict[str, Band]] = {
        element.key: {}
        for element, now in zip(state.inventory.elements, state.inventory.now, strict=True)
        if now and isinstance(getattr(element, "key", None), str)
    }
    rows = _rows(found.values, found.spread, [INDEX[stage] for stage in stages])
    for number, row in zip(found.numbers.tolist(), rows, strict=True):
        bands[state.inventory.elements[number].key] = dict(zip(stages, row, strict=True))
    return bands


def _rows(values: Array, spread: Spread, columns: Sequence[int]) -> list[list[Band]]:
    """Bands of the picked columns, row by row; a plain zero is one and the same band."""
    middle = values[:, columns]
    low, high = middle - spread.down[:, columns], middle + spread.up[:, columns]
    best, bounded = spread.best[:, columns], spread.bounded[:, columns]
    bands = Band.many(
        low.ravel().tolist(),
        _where(best, middle),
        _where(bounded, high),
    )
    plain = ((np.abs(low) < NOTHING) & (np.abs(high) < NOTHING) & bounded).ravel().tolist()
    bands = [ZERO if zero else band for band, zero in zip(bands, plain, strict=True)]
    wide = len(columns)
    return [bands[start : start + wide] for start in range(0, len(bands), wide)]


def _where(there: NDArray[np.bool_], values: Array) -> list[float | None]:
    numbers = values.ravel().tolist()
    if there.all():
        return list(numbers)
    return [number if known else None for number, known in zip(numbers, there.ravel().tolist(), strict=True)]


class _Merged(NamedTuple):
    """One cause, however many elements share it."""

    kelvin: Array
    users: frozenset[int]
    open_ended: bool


def causes(state: State, found: Influences, temperatures: Mapping[str, Band]) -> tuple[Cause, ...]:
    """What widens the bands, widest first; data shared by several elements are one cause."""
    merged: dict[tuple[int, str], _Merged] = {}
    for number, what in enumerate(found.what):
        shared, element = int(found.shared[number]), int(found.element[number])
        group = (-2 - shared if shared >= 0 else element, what)
        known = merged.get(group, _Merged(np.zeros((2, STAGES)), frozenset(), False))
        merged[group] = _Merged(
            known.kelvin + found.kelvin[:, number],
            known.users | {element},
            known.open_ended or bool(found.open_ended[number]),
        )
    rows = [row for (_, what), cause in merged.items() for row in _by_stage(state, what, cause, temperatures)]
    rows.sort(key=lambda cause: -(np.inf if cause.half_width_K is None else cause.half_width_K))
    return tuple(rows[:MOST_CAUSES])


def _by_stage(state: State, what: str, cause: _Merged, temperatures: Mapping[str, Band]) -> list[Cause]:
    """What one cause does to every stage where that can be noticed."""
    high, low = np.maximum(cause.kelvin.max(axis=0), 0.0), np.minimum(cause.kelvin.min(axis=0), 0.0)
    half_K = (high - low) / 2.0
    user = next(iter(cause.users)) if len(cause.users) == 1 else COOLER
    key = None if user == COOLER else state.inventory.elements[user].key
    noticed = [
        stage for stage in temperatures if half_K[INDEX[stage]] > LEAST_CAUSE * state.T_K[INDEX[stage]]
    ]
    widths = [None if cause.open_ended else float(half_K[INDEX[stage]]) for stage in noticed]
    return [Cause(key, what, stage, width) for stage, width in zip(noticed, widths, strict=True)]
