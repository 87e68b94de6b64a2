"""From a balance and what is unsure of it to bands, costs and causes."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.statistics import Band
from server.physics.thermal import fields
from server.physics.thermal.absent import by_slot, counted
from server.physics.thermal.elements import Joint
from server.physics.thermal.recipe import INDEX, PLATFORM
from server.physics.thermal.results import Cause
from server.physics.thermal.runs import Run
from server.physics.thermal.sampled import must_sample, sampled_ends_K
from server.physics.thermal.state import State
from server.physics.thermal.system import STAGES, Indices
from server.physics.thermal.unsure import COOLER, Changes, Influences

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
    flat = (groups[:, None] * STAGES + np.arange(STAGES)).ravel()
    parts = (
        down**2,
        np.where(open_ended[:, None], 0.0, up**2),
        much & ranged[:, None],
        much & open_ended[:, None],
    )
    sums = [np.bincount(flat, part.ravel(), count * STAGES).reshape(count, STAGES) for part in parts]
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


def temperature_bands(state: State, changes: Changes, influences: Influences) -> dict[str, Band]:
    """Of every stage whose temperature can be told. Beyond what the cooler was tested at: *more than*."""
    spread = temperature_spread(state, influences)
    low_K, high_K = state.T_K - spread.down[0], state.T_K + spread.up[0]
    if must_sample(state, influences):
        low_K, high_K = sampled_ends_K(state, changes, influences)
    ceiling_K, beyond = state.tested_K
    found: dict[str, Band] = {}
    for stage, name in enumerate(fields.STAGES):
        if name not in state.cryostat.stages[1:] or not state.told[stage]:
            continue
        middle = float(state.T_K[stage])
        low, high = float(low_K[stage]), float(high_K[stage])
        hangs = stage > PLATFORM and "platform" in found and found["platform"].high is None
        open_above = hangs or not spread.bounded[0, stage] or high > ceiling_K[stage]
        best = middle if spread.best[0, stage] and not beyond[stage] else None
        found[name] = Band(max(low, 0.1), best, None if open_above else high)
    return found


class Shares(NamedTuple):
    """What each element of the configuration brings or costs: (elements, stages), and how unsure it is."""

    numbers: Indices
    values: Array
    spread: Spread


def heat_shares(state: State, found: Influences) -> Shares:
    """Heat of every element into every stage at the answer [W]."""
    numbers = np.array(counted(state), dtype=np.intp)
    system = state.problem.system
    drive = system.drives(state.T_K[None, :])[0][0]
    heat_W = (by_slot(state, numbers) * drive) @ system.enters
    spread = own_spread(found, found.heat_W, numbers, len(state.recipes), np.zeros(STAGES))
    for place in np.flatnonzero(np.isin(numbers, state.inventory.joints)).tolist():
        _of_joint(state, found, int(numbers[place]), place, spread)
    _keep_direction(state, numbers, heat_W, spread)
    return Shares(numbers, heat_W, spread)


def _keep_direction(state: State, numbers: Indices, heat_W: Array, spread: Spread) -> None:
    """However unsure its size, heat between two stages does not turn round: its band ends at nothing.

    Not so for a run, whose lags decide where heat lands, nor for a joint, which carries what others bring.
    """
    one_way = [not isinstance(state.inventory.elements[n], Run | Joint) for n in numbers.tolist()]
    rows = np.array(one_way, dtype=bool)[:, None]
    limited = rows & (heat_W > 0.0), rows & (heat_W < 0.0)
    for side, where in zip((spread.down, spread.up), limited, strict=True):
        np.minimum(side, np.abs(heat_W), out=side, where=where)


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


def own_spread(found: Influences, values: Array, numbers: Indices, count: int, least: Array) -> Spread:
    """What is unsure of each element's own share."""
    place = np.full(count + 1, -1)
    place[numbers] = np.arange(len(numbers))
    groups = place[found.element]
    mine = groups >= 0
    flags = found.ranged[mine], found.open_ended[mine]
    return gather(values[:, mine], groups[mine], len(numbers), *flags, least)


def bands_by_element(state: State, found: Shares, stages: Sequence[str]) -> dict[str, dict[str, Band]]:
    """Bands for every element and stage, nothing for an element that has no share."""
    elements, numbers = state.inventory.elements, found.numbers.tolist()
    rows = _rows(found.values, found.spread, [INDEX[stage] for stage in stages])
    bands = {
        elements[n].key: dict(zip(stages, row, strict=True)) for n, row in zip(numbers, rows, strict=True)
    }
    now = int(state.inventory.now.sum())
    if len(bands) < now:
        keys = (getattr(element, "key", None) for element in elements[:now])
        bands = {key: bands.get(key, {}) for key in keys if isinstance(key, str)}
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
    plain = (np.abs(low) < NOTHING) & (np.abs(high) < NOTHING) & bounded
    for place in np.flatnonzero(plain.ravel()).tolist():
        bands[place] = ZERO
    wide = len(columns)
    return [bands[start : start + wide] for start in range(0, len(bands), wide)]


def _where(there: NDArray[np.bool_], values: Array) -> list[float | None]:
    numbers = values.ravel().tolist()
    if there.all():
        return list(numbers)
    return [number if known else None for number, known in zip(numbers, there.ravel().tolist(), strict=True)]


def causes(state: State, found: Influences, temperatures: Mapping[str, Band]) -> tuple[Cause, ...]:
    """What widens the bands, widest first; data shared by several elements are one cause."""
    columns = [INDEX[stage] for stage in temperatures]
    group, count = causes_of(found)
    sums = np.zeros((2, count, STAGES))
    for end in (0, 1):
        flat = (group[:, None] * STAGES + np.arange(STAGES)).ravel()
        sums[end] = np.bincount(flat, found.kelvin[end].ravel(), count * STAGES).reshape(count, STAGES)
    half_K = (np.maximum(sums.max(axis=0), 0.0) - np.minimum(sums.min(axis=0), 0.0)) / 2.0
    half_K = np.where(half_K > LEAST_CAUSE * state.T_K, half_K, 0.0)[:, columns]
    open_ended = np.bincount(group, found.open_ended, count) > 0
    order = np.argsort(
        -(half_K + np.where(open_ended[:, None] & (half_K > 0.0), 1e9, 0.0)).ravel(), kind="stable"
    )
    rows, stages = list(temperatures), len(columns)
    told = [divmod(int(place), stages) for place in order[:MOST_CAUSES] if half_K.flat[place] > 0.0]
    return tuple(
        _cause(
            state,
            found,
            np.flatnonzero(group == one),
            rows[column],
            None if open_ended[one] else half_K[one, column],
        )
        for one, column in told
    )


def causes_of(found: Influences) -> tuple[Indices, int]:
    """Influences that are one cause: a material's data whoever uses it, all else by itself."""
    alone = np.arange(len(found.what))
    first_of_row = {row: place for place, row in reversed(list(enumerate(found.shared.tolist()))) if row >= 0}
    first = [
        first_of_row[row] if row >= 0 else place
        for place, row in zip(alone, found.shared.tolist(), strict=True)
    ]
    kept, group = np.unique(np.array(first, dtype=np.intp), return_inverse=True)
    return group.astype(np.intp), len(kept)


def _cause(state: State, found: Influences, members: Indices, stage: str, half_K: float | None) -> Cause:
    users = {int(found.element[member]) for member in members}
    one = users.pop() if len(users) == 1 else COOLER
    key = None if one == COOLER else state.inventory.elements[one].key
    return Cause(key, found.what[members[0]], stage, None if half_K is None else float(half_K))
