"""Bands by drawing everything that is unsure at once, for where adding up one by one does not hold."""

from collections.abc import Sequence

import numpy as np

from server.physics.materials.arrays import Array
from server.physics.thermal.absent import by_slot
from server.physics.thermal.lift import Settings
from server.physics.thermal.state import State
from server.physics.thermal.unsure import COOLER, Changes, Influences, solve_variants

LARGE = 0.05
"""Two influences that each move a temperature by more than this part may not be added up."""

DRAWS = 400
TWO_SIGMA = 1.96
FURTHEST = 1.3
"""Draws are held to this part of the way from the best value to an end."""

MIDDLE = (2.5, 97.5)
"""The central 95 %, in percentiles."""

MOST_NEGATIVE = -1e12
"""Less than any coefficient is."""


def must_sample(state: State, found: Influences) -> bool:
    """Whether two or more influences, their high ends known, each do a lot."""
    most = np.abs(found.kelvin).max(axis=0) / state.T_K
    return int((most[~found.open_ended] > LARGE).any(axis=1).sum()) >= 2


def sampled_ends_K(state: State, changes: Changes, found: Influences) -> tuple[Array, Array]:
    """Low and high end of every stage's temperature: the central 95 % of many draws (stages,) [K]."""
    # Data of one material are wrong for all that is made of it at once.
    drawn = drawn_alike(found, found.causes.group.tolist(), found.causes.count)
    T_K = sampled_K(state, changes, found, drawn)
    low_K, high_K = np.percentile(T_K, MIDDLE, axis=0)
    return np.minimum(low_K, state.T_K), np.maximum(high_K, state.T_K)


def sampled_K(state: State, changes: Changes, found: Influences, drawn: Array) -> Array:
    """Temperatures (draws, stages) with everything unsure as `drawn_alike` drew it."""
    down, up = np.maximum(-drawn, 0.0), np.maximum(drawn, 0.0)
    of_elements = found.element != COOLER
    now, bare = state.now, state.bare
    for part, change in zip((down, up), _dense(state, changes), strict=True):
        now = now + (part[:, of_elements] * state.inventory.now[changes.element]) @ change
        bare = bare + (part[:, of_elements] * state.inventory.bare[changes.element]) @ change
    least = _least(state, changes)
    now = np.maximum(now, state.inventory.now @ least)
    bare = np.maximum(bare, state.inventory.bare @ least)
    settings = _settings(state, down[:, ~of_elements], up[:, ~of_elements])
    start_K = np.repeat(state.T_K[None, :], DRAWS, axis=0)
    return solve_variants(state, now, bare, settings, start_K)


def drawn_alike(found: Influences, column: Sequence[int], count: int) -> Array:
    """How far every influence is drawn, from −1 at its low to 1 at its high end: (draws, n).

    What has a best value is drawn from two halves of a normal distribution, a mere range evenly; what has an
    open end stays where it is known. Influences of one `column`, of `count`, are drawn alike, and the same
    every time.
    """
    random = np.random.default_rng(0)
    normal, even = random.standard_normal((DRAWS, count)), random.uniform(-1.0, 1.0, (DRAWS, count))
    drawn = np.where(found.ranged, even[:, column], normal[:, column] / TWO_SIGMA)
    drawn[:, found.open_ended] = 0.0
    return np.minimum(np.maximum(drawn, -FURTHEST), FURTHEST)


def _dense(state: State, changes: Changes) -> list[Array]:
    """Changes of every slot at both ends: (n, slots) each."""
    everything, slots = np.ones(changes.count, dtype=bool), len(state.problem.system.row)
    return [changes.dense(everything, end, slots) for end in (0, 1)]


def _least(state: State, changes: Changes) -> Array:
    """Coefficients of each element with all its doubts at their low ends: (elements, slots).

    Several drawn low together would otherwise turn its heat round. What is negative has no such end.
    """
    alone = by_slot(state, np.arange(len(state.recipes)))
    owner, slot = changes.element[changes.influence], changes.slot
    base = alone[owner, slot]
    part = 1.0 + np.minimum(changes.coefficient.min(axis=0), 0.0) / np.where(base > 0.0, base, np.inf)
    factor = np.ones_like(alone)
    np.multiply.at(factor, (owner, slot), np.maximum(part, 0.0))
    return np.where(alone >= 0.0, alone * factor, MOST_NEGATIVE)


def _settings(state: State, down: Array, up: Array) -> Settings:
    """The cooler as drawn."""
    found = {}
    for name in ("rise", "lift", "link_K_W", "offset_K"):
        usual: Array = getattr(state.settings, name)
        value = np.repeat(usual, len(down), axis=0)
        for number, knob in enumerate(state.knobs):
            for part, end in ((down, knob.low), (up, knob.high)):
                value = value + _column(part[:, number], usual) * (getattr(end, name) - usual)
        found[name] = value
    return Settings(**found)


def _column(part: Array, like: Array) -> Array:
    return part.reshape(-1, *(1,) * (like.ndim - 1))
