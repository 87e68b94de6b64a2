"""What every element costs every stage, and how well that is known.

A cost is a difference between two balances: what is unsure in both alike, such as how two cooldowns differ,
is not unsure of it.
"""

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.thermal.budgeting import (
    NOTICEABLE,
    Shares,
    Spread,
    causes_of,
    own_spread,
)
from server.physics.thermal.lift import Settings
from server.physics.thermal.recipe import PLATFORM
from server.physics.thermal.solve import Residuals, residuals
from server.physics.thermal.state import TWO, State, subtracted_W
from server.physics.thermal.system import STAGES, Indices
from server.physics.thermal.unsure import Influences


def cost_shares(state: State, found: Influences) -> Shares:
    """What every element costs every stage [K]: with all, minus with all but this one, solved again.

    Unsure is the element itself, with the bare reference as it is, and the slope of the cooler between the
    two. A joint has no cost: without it nothing would be known of what it carries.
    """
    absent, least = found.absent, NOTICEABLE / 10.0 * state.T_K
    own = own_spread(found, found.own_K, absent.numbers, len(state.recipes), least)
    if not len(absent.numbers):
        return Shares(absent.numbers, absent.cost_K, own)
    T_K = np.concatenate([state.T_K[None, :], state.T_K - absent.cost_K])
    now = np.concatenate([state.now[None, :], state.now - absent.coefficients])
    here = residuals(state.problem, T_K, now, state.subtract_W, state.settings)
    by_cooler_K = _by_cooler_K(state, T_K, now, here)
    down2, up2 = (np.square(side).sum(axis=1) for side in _sides(by_cooler_K))
    by_others = _by_others(found, here)
    limit_K = absent.furthest_K()
    down = np.minimum(np.sqrt(own.down**2 + down2 + by_others), limit_K[0])
    up = np.minimum(np.sqrt(own.up**2 + up2 + by_others), limit_K[1])
    ranged = np.array([knob.ranged for knob in state.knobs], dtype=bool)
    vague = (np.ptp(by_cooler_K, axis=2)[:, ranged] > least).any(axis=1)
    spread = _as_far_as_tested(state, Spread(down, up, own.best & ~vague, own.bounded), absent.cost_K > least)
    return Shares(absent.numbers, absent.cost_K, spread)


def _sides(change_K: Array) -> tuple[Array, Array]:
    """How far down and up, of changes (elements, things, ends, stages)."""
    return np.minimum(change_K.min(axis=2), 0.0), np.maximum(change_K.max(axis=2), 0.0)


def _by_cooler_K(state: State, T_K: Array, now: Array, here: Residuals) -> Array:
    """What each thing that is unsure of the cooler changes in each cost: (elements, things, ends, stages)."""
    both = [settings for knob in state.knobs for settings in (knob.low, knob.high)]
    count, many = len(both), len(T_K)
    if not count:
        return np.zeros((many - 1, 0, 2, STAGES))
    settings = Settings.stacked(both)
    bare_K, bare = (np.broadcast_to(one, (count, len(one))) for one in (state.bare_K, state.bare))
    then_W = subtracted_W(state.problem, bare_K, bare, settings)
    heat_W = state.problem.system.heat_W(now, T_K)[0][:, TWO]
    lift = state.problem.lift
    usual_K = lift.kelvin(heat_W - state.subtract_W, state.settings)[0]
    names = ("rise", "lift", "link_K_W", "offset_K")
    each = Settings(*(np.concatenate([getattr(settings, name)] * many) for name in names))
    then_K = lift.kelvin((heat_W[:, None, :] - then_W).reshape(-1, 2), each)[0].reshape(many, count, 2)
    moved_K = np.zeros((many, count, STAGES))
    moved_K[..., TWO] = np.where(state.problem.cooled[TWO], then_K - usual_K[:, None, :], 0.0)
    change_K = np.linalg.solve(here.slopes, moved_K.transpose(0, 2, 1)).transpose(0, 2, 1)
    return np.asarray(change_K[0] - change_K[1:]).reshape(many - 1, -1, 2, STAGES)


def _by_others(found: Influences, here: Residuals) -> Array:
    """Squares of what the doubts about all else change in each cost, where the cooler is not straight."""
    response_K_W = np.linalg.solve(here.slopes, here.kelvin_per_W)
    bent_K_W = response_K_W[0] - response_K_W[1:]
    group, count = causes_of(found)
    known = ~found.open_ended
    flat = (group[:, None] * STAGES + np.arange(STAGES)).ravel()
    place = found.absent.place(found.element)
    mine = known & (place >= 0)
    most = np.zeros((len(bent_K_W), STAGES))
    for end_W in found.net_W * known[:, None]:
        summed_W = np.bincount(flat, end_W.ravel(), count * STAGES).reshape(count, STAGES)
        outer = end_W[mine, :, None] * end_W[mine, None, :]
        own = _by_element(place[mine], outer.reshape(-1, STAGES * STAGES), len(bent_K_W))
        others = summed_W.T @ summed_W - own.reshape(-1, STAGES, STAGES)
        most = np.maximum(most, np.einsum("esi,eij,esj->es", bent_K_W, others, bent_K_W))
    return most


def _by_element(place: Indices, values: Array, count: int) -> Array:
    """Rows of values added up by element."""
    wide = values.shape[1]
    flat = (place[:, None] * wide + np.arange(wide)).ravel()
    return np.asarray(np.bincount(flat, values.ravel(), count * wide), dtype=float).reshape(count, wide)


def _as_far_as_tested(state: State, spread: Spread, warms: NDArray[np.bool_]) -> Spread:
    """What brings a stage beyond the heater test costs it *more than*, as the stage itself is."""
    ceiling_K, beyond = state.tested_K
    ceiling_K[PLATFORM + 1 :] = np.inf
    passes = warms & (state.T_K + spread.up > ceiling_K)
    passes[:, PLATFORM + 1 :] |= passes[:, [PLATFORM]]
    open_above = warms & (passes | beyond)
    return Spread(spread.down, spread.up, spread.best & ~(open_above & beyond), spread.bounded & ~open_above)
