"""From a balance and what is unsure of it to bands, costs and causes."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.statistics import Band
from server.physics.thermal import fields
from server.physics.thermal.absent import by_slot
from server.physics.thermal.elements import Joint
from server.physics.thermal.recipe import INDEX, PLATFORM
from server.physics.thermal.results import Cause
from server.physics.thermal.sampled import must_sample, sampled_ends_K
from server.physics.thermal.state import State
from server.physics.thermal.system import STAGES, Indices
from server.physics.thermal.unsure import COOLER, Changes, Influences, down_and_up

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
    down, up = down_and_up(values)
    down = -down
    much = (down + up) > least
    parts = [down**2, np.where(open_ended[:, None], 0.0, up**2)]
    # Most often every one of them has a best and both ends.
    flags = [much & flag[:, None] for flag in (ranged, open_ended) if flag.any()]
    sums = [_summed(part, groups, count) for part in (*parts, *flags)]
    none = np.zeros((count, STAGES))
    vague = sums[2] if ranged.any() else none
    endless = sums[-1] if open_ended.any() else none
    return Spread(np.sqrt(sums[0]), np.sqrt(sums[1]), (vague + endless) == 0.0, endless == 0.0)


def _summed(values: Array, groups: Indices, count: int) -> Array:
    """Rows of values added up by group: (count, stages)."""
    if count == 1:
        return np.asarray(values.sum(axis=0, dtype=float)[None, :])
    flat = (groups[:, None] * STAGES + np.arange(STAGES)).ravel()
    return np.asarray(np.bincount(flat, values.ravel(), count * STAGES), dtype=float).reshape(count, STAGES)


def temperature_spread(state: State, found: Influences) -> Spread:
    """Of every stage. Data shared by elements of one material are wrong for all of them at once."""
    causes = found.causes
    groups = np.zeros(causes.count, dtype=np.intp)
    return gather(causes.kelvin, groups, 1, causes.ranged, causes.open_ended, NOTICEABLE * state.T_K)


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
    numbers = state.counted
    heat_W = (by_slot(state, numbers) * state.residuals.drives.value) @ state.problem.system.enters
    spread = own_spread(found, found.heat_W, numbers, len(state.recipes), np.zeros(STAGES))
    for place in np.flatnonzero(np.isin(numbers, state.inventory.joints)).tolist():
        _of_joint(state, found, int(numbers[place]), place, spread)
    _keep_direction(state, numbers, heat_W, spread)
    return Shares(numbers, heat_W, spread)


def _keep_direction(state: State, numbers: Indices, heat_W: Array, spread: Spread) -> None:
    """However unsure its size, heat between two stages does not turn round: its band ends at nothing.

    Not so for a run, whose lags decide where heat lands, nor for a joint, which carries what others bring.
    """
    one_way = [state.recipes[n].nature.one_way for n in numbers.tolist()]
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
    columns, open_ended = [INDEX[stage] for stage in temperatures], found.causes.open_ended
    down_K, up_K = down_and_up(found.causes.kelvin)
    half_K = (up_K - down_K) / 2.0
    half_K = np.where(half_K > LEAST_CAUSE * state.T_K, half_K, 0.0)[:, columns]
    order = np.argsort(
        -(half_K + np.where(open_ended[:, None] & (half_K > 0.0), 1e9, 0.0)).ravel(), kind="stable"
    )
    rows, stages = list(temperatures), len(columns)
    told = [divmod(place, stages) for place in order[:MOST_CAUSES].tolist() if half_K.flat[place] > 0.0]
    members = np.argsort(found.causes.group, kind="stable")
    starts = np.searchsorted(found.causes.group[members], np.arange(found.causes.count + 1)).tolist()
    return tuple(
        _cause(
            state,
            found,
            members[starts[one] : starts[one + 1]],
            rows[column],
            None if open_ended[one] else half_K[one, column],
        )
        for one, column in told
    )


def _cause(state: State, found: Influences, members: Indices, stage: str, half_K: float | None) -> Cause:
    users = {int(found.element[member]) for member in members}
    one = users.pop() if len(users) == 1 else COOLER
    key = None if one == COOLER else state.inventory.elements[one].key
    return Cause(key, found.what[members[0]], stage, None if half_K is None else float(half_K))
