"""Two causes at once: tried as the sum of their shifts, and the likeliest solved with both inside."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.thermal.fitting import Case, Fine, Way, band_of
from server.physics.thermal.signatures import direct_of, shifts_of
from server.physics.thermal.suspects import Suspect, varied

PIECES = 14
"""Pieces of a curve while pairs are sought."""
PAIRS_AGAIN, AGAIN, GRID = 8, 5, 160
"""So many pairs are solved with both inside, at so many sizes of each; points of each while fitting."""
FAR = 12.0
"""Pairs whose evidence is less by this many powers of e are not looked at."""
NEGLECTED = 1e-4


def pairs(case: Case, fine: Sequence[Fine], log_share: float) -> list[Way]:
    """Every two suspects; the likeliest solved again with both inside."""
    cut = _cut(fine)
    likely = _both(case.read, cut)
    summed = np.logaddexp.reduceat(np.logaddexp.reduceat(likely, cut.first, axis=0), cut.first, axis=1)
    weight = summed - np.log(cut.count)[:, None] - np.log(cut.count)[None, :]
    weight += case.log_prior[:, None] + case.log_prior[None, :] + log_share + np.log(2.0)
    ranked = [
        (float(weight[a, b]), a, b)
        for a in range(len(fine))
        for b in range(a + 1, len(fine))
        if not _same(fine[a].suspect, fine[b].suspect)
    ]
    ranked.sort(key=lambda one: -one[0])
    again = _solved_again(case, fine, cut, likely, ranked[:PAIRS_AGAIN], log_share)
    return again + [_rough(cut, likely, *one) for one in ranked[PAIRS_AGAIN:] if one[0] > ranked[0][0] - FAR]


@dataclass(frozen=True, eq=False)
class _Pieces:
    """All curves in pieces: middle and extent (pieces, witnesses); where each begins, how many it has."""

    middle: Array
    extent: Array
    first: NDArray[np.intp]
    count: NDArray[np.intp]
    edges: list[Array]


def _cut(fine: Sequence[Fine]) -> _Pieces:
    edges = [np.linspace(one.logs[0], one.logs[-1], PIECES + 1 if one.suspect.sizes else 1) for one in fine]
    ends = [one.at(logs) for one, logs in zip(fine, edges, strict=True)]
    middle = [one if len(one) == 1 else 0.5 * (one[1:] + one[:-1]) for one in ends]
    extent = [np.zeros_like(one) if len(one) == 1 else np.diff(one, axis=0) for one in ends]
    count = np.array([len(one) for one in middle])
    return _Pieces(np.concatenate(middle), np.concatenate(extent), np.cumsum(count) - count, count, edges)


def _both(read: Array, cut: _Pieces) -> Array:
    """Logarithm of the likelihood of every two pieces together: (pieces, pieces).

    The reading is normal about the sum of the middles; along each of the two extents it scatters further.
    """
    root = 1.0 / np.sqrt(12.0)
    middle, extent = cut.middle, cut.extent * root
    left = read - middle
    across = left @ middle.T
    miss = np.sum(left**2, axis=1)[:, None] + np.sum(middle**2, axis=1)[None, :] - 2.0 * across
    along = np.sum(extent * left, axis=1)[:, None] - extent @ middle.T
    wide = 1.0 + np.sum(extent**2, axis=1)
    shared = extent @ extent.T
    determinant = wide[:, None] * wide[None, :] - shared**2
    taken = (
        wide[None, :] * along**2 + wide[:, None] * along.T**2 - 2.0 * shared * along * along.T
    ) / determinant
    return np.asarray(-0.5 * (miss - taken) - 0.5 * np.log(determinant))


def _same(one: Suspect, other: Suspect) -> bool:
    """Two that cannot be at once: one element changed in two ways, one thermometer wrong both ways."""
    if one.element is not None:
        return one.element is other.element
    return one.cause == other.cause and one.where == other.where


def _best_pieces(cut: _Pieces, likely: Array, a: int, b: int) -> tuple[Array, int, int]:
    block = likely[cut.first[a] : cut.first[a] + cut.count[a], cut.first[b] : cut.first[b] + cut.count[b]]
    row, column = np.unravel_index(int(np.argmax(block)), block.shape)
    return block, int(row), int(column)


def _rough(cut: _Pieces, likely: Array, weight: float, a: int, b: int) -> Way:
    """A pair as good as the pieces tell it."""
    _, row, column = _best_pieces(cut, likely, a, b)
    parts = cut.middle[cut.first[a] + row], cut.middle[cut.first[b] + column]
    return Way((a, b), weight, (None, None), parts)


def _window(edges: Array, weight: Array) -> Array:
    """Sizes worth a closer look: the pieces that hold nearly all of the weight, and one more on each side."""
    if len(edges) == 1:
        return edges
    share = np.exp(weight - weight.max())
    kept = np.flatnonzero(share > NEGLECTED * share.sum())
    low, high = max(0, int(kept[0]) - 1), min(len(edges) - 1, int(kept[-1]) + 2)
    return np.linspace(edges[low], edges[high], AGAIN)


def _solved_again(
    case: Case,
    fine: Sequence[Fine],
    cut: _Pieces,
    likely: Array,
    ranked: Sequence[tuple[float, int, int]],
    log_share: float,
) -> list[Way]:
    """The likeliest pairs with both causes in one configuration, all solved at once."""
    windows = []
    for _, a, b in ranked:
        block, _, _ = _best_pieces(cut, likely, a, b)
        windows.append(
            (
                _window(cut.edges[a], np.logaddexp.reduce(block, 1)),
                _window(cut.edges[b], np.logaddexp.reduce(block, 0)),
            )
        )
    builds, told = [], []
    for (_, a, b), (first, second) in zip(ranked, windows, strict=True):
        for one in first:
            changed = varied(case.elements, fine[a].suspect, float(np.exp(one)))
            builds += [varied(changed, fine[b].suspect, float(np.exp(other))) for other in second]
            told += [
                direct_of(fine[a].suspect, float(one), case.names)
                + direct_of(fine[b].suspect, float(other), case.names)
                for other in second
            ]
    shifts = (shifts_of(case.cryostat, case.elements, builds, case.names) + np.array(told)) / case.sigma
    ways, start = [], 0
    for (_, a, b), (first, second) in zip(ranked, windows, strict=True):
        exact = shifts[start : start + first.size * second.size].reshape(first.size, second.size, -1)
        start += first.size * second.size
        ways.append(_fitted_pair(case, (a, b), (fine[a], fine[b]), (first, second), exact, log_share))
    return ways


def _fitted_pair(
    case: Case,
    members: tuple[int, int],
    both: tuple[Fine, Fine],
    windows: tuple[Array, Array],
    exact: Array,
    log_share: float,
) -> Way:
    """Sizes and evidence of a pair on a fine grid inside its window."""
    one, other = both
    more = exact - one.at(windows[0])[:, None] - other.at(windows[1])[None, :]
    grids = [np.linspace(logs[0], logs[-1], GRID if logs.size > 1 else 1) for logs in windows]
    together = _stretched(_stretched(more, windows[0], grids[0], 0), windows[1], grids[1], 1)
    shift = one.at(grids[0])[:, None] + other.at(grids[1])[None, :] + together
    logarithm = -0.5 * np.sum((case.read - shift) ** 2, axis=2)
    inside = sum(_log_part(fine, logs) for fine, logs in zip(both, windows, strict=True))
    weight = (
        np.logaddexp.reduce(logarithm, axis=None) - np.log(logarithm.size) + inside + log_share + np.log(2.0)
    )
    row, column = np.unravel_index(int(np.argmax(logarithm)), logarithm.shape)
    sizes = tuple(
        band_of(grid, np.logaddexp.reduce(logarithm, axis)) if grid.size > 1 else None
        for grid, axis in zip(grids, (1, 0), strict=True)
    )
    parts = one.at(grids[0][[row]])[0], other.at(grids[1][[column]])[0]
    prior = case.log_prior[list(members)].sum()
    return Way(members, float(weight + prior), sizes, parts, together[row, column])


def _log_part(fine: Fine, window: Array) -> float:
    """Which part of all sizes a window holds."""
    return (
        0.0 if window.size == 1 else float(np.log((window[-1] - window[0]) / (fine.logs[-1] - fine.logs[0])))
    )


def _stretched(values: Array, given: Array, wanted: Array, axis: int) -> Array:
    """Values on a finer grid along one axis, straight between those given."""
    if given.size == 1:
        return values
    place = np.clip((wanted - given[0]) / (given[1] - given[0]), 0.0, given.size - 1.0)
    cell = np.minimum(place.astype(int), given.size - 2)
    part = np.expand_dims(place - cell, tuple(set(range(values.ndim)) - {axis}))
    return np.asarray(np.take(values, cell, axis) * (1.0 - part) + np.take(values, cell + 1, axis) * part)
