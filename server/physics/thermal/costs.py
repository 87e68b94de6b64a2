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
    own_spread,
)
from server.physics.thermal.lift import Settings
from server.physics.thermal.recipe import PLATFORM
from server.physics.thermal.state import TWO, State, subtracted_W
from server.physics.thermal.system import STAGES, Indices
from server.physics.thermal.unsure import Influences, by_group, down_and_up


def cost_shares(state: State, found: Influences) -> Shares:
    """What every element costs every stage [K]: with all, minus with all but this one, solved again.

    Unsure is the element itself, with the bare reference as it is, and the slope of the cooler between the
    two. A joint has no cost: without it nothing would be known of what it carries.
    """
    absent, least = found.absent, NOTICEABLE / 10.0 * state.T_K
    own = own_spread(found, found.own_K, absent.numbers, len(state.recipes), least)
    if not len(absent.numbers):
        return Shares(absent.numbers, absent.cost_K, own)
    per_miss = np.linalg.inv(np.concatenate([state.residuals.slopes, absent.residuals.slopes]))
    by_cooler_K = _by_cooler_K(state, found, per_miss)
    down2, up2 = (np.square(side).sum(axis=1) for side in down_and_up(by_cooler_K))
    by_others = _by_others(state, found, per_miss)
    limit_K = absent.furthest_K()
    down = np.minimum(np.sqrt(own.down**2 + down2 + by_others), limit_K[0])
    up = np.minimum(np.sqrt(own.up**2 + up2 + by_others), limit_K[1])
    ranged = np.array([knob.ranged for knob in state.knobs], dtype=bool)
    vague = (np.ptp(by_cooler_K[:, :, ranged], axis=0) > least).any(axis=1)
    spread = _as_far_as_tested(state, Spread(down, up, own.best & ~vague, own.bounded), absent.cost_K > least)
    return Shares(absent.numbers, absent.cost_K, spread)


def _by_cooler_K(state: State, found: Influences, per_miss: Array) -> Array:
    """What each thing that is unsure of the cooler changes in each cost: (ends, elements, things, stages)."""
    both = [settings for knob in state.knobs for settings in (knob.low, knob.high)]
    count, many = len(both), len(per_miss)
    if not count:
        return np.zeros((2, many - 1, 0, STAGES))
    settings = Settings.stacked(both)
    then_W = subtracted_W(state.problem, state.bare_residuals.heat_W, settings)
    heat_W = _both(state.residuals.heat_W, found.absent.residuals.heat_W)[:, TWO]
    lift = state.problem.lift
    usual_K = lift.kelvin(heat_W - state.subtract_W, state.settings)[0]
    then_K = lift.kelvin((heat_W[:, None, :] - then_W).reshape(-1, 2), settings.repeated(many))[0]
    moved_K = np.zeros((many, count, STAGES))
    moved_K[..., TWO] = (then_K.reshape(many, count, 2) - usual_K[:, None, :]) * state.problem.cooled[TWO]
    change_K = moved_K @ per_miss.transpose(0, 2, 1)
    return np.asarray(change_K[0] - change_K[1:]).reshape(many - 1, -1, 2, STAGES).transpose(2, 0, 1, 3)


def _both(with_all: Array, without: Array) -> Array:
    return np.concatenate([with_all, without])


def _by_others(state: State, found: Influences, per_miss: Array) -> Array:
    """Squares of what the doubts about all else change in each cost, where the cooler is not straight."""
    kelvin_per_W = _both(state.residuals.kelvin_per_W, found.absent.residuals.kelvin_per_W)
    response_K_W = per_miss @ kelvin_per_W
    bent_K_W = response_K_W[0] - response_K_W[1:]
    known = ~found.open_ended
    place = found.absent.place(found.element)
    mine = known & (place >= 0)
    net_W = found.net_W * known[:, None]
    summed_W = by_group(net_W, found.causes.group, found.causes.count)
    most = np.zeros((len(bent_K_W), STAGES))
    for end_W, end_summed_W in zip(net_W, summed_W, strict=True):
        outer = end_W[mine, :, None] * end_W[mine, None, :]
        own = _by_element(place[mine], outer.reshape(-1, STAGES * STAGES), len(bent_K_W))
        others = end_summed_W.T @ end_summed_W - own.reshape(-1, STAGES, STAGES)
        most = np.maximum(most, ((bent_K_W @ others) * bent_K_W).sum(axis=2))
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
