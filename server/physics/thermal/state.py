"""One cryostat with one set of elements, compiled and balanced at its best values."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.thermal import fields
from server.physics.thermal.compile import compiled, feels
from server.physics.thermal.cooler import Cryostat
from server.physics.thermal.cooler_knobs import CoolerKnob, cooler_settings
from server.physics.thermal.elements import Element, Joint
from server.physics.thermal.lift import Settings, bare_temperatures_K, build_lift
from server.physics.thermal.recipe import INDEX, PLATFORM, SHIELD, USUAL_K, VESSEL, Place, Recipe
from server.physics.thermal.results import Gap
from server.physics.thermal.rows import LINEAR
from server.physics.thermal.solve import Problem, Residuals, residuals, solve
from server.physics.thermal.system import STAGES, System

UNJOINED_W_K = 1.0 / 40.0
"""What a mount or sample is taken to hang on when nothing says what: its own temperature is then not told."""

_MOST_ROUNDS = 12
_SETTLED = 1e-7
Flags = NDArray[np.bool_]
TWO = slice(SHIELD, PLATFORM + 1)


@dataclass(frozen=True, eq=False)
class Inventory:
    """All elements, those of the configuration first, then what only the bare reference has.

    `now` and `bare` say which of the two each belongs to.
    """

    elements: tuple[Element, ...]
    now: Array
    bare: Array
    twice: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class State:
    """A balance at the best values.

    Attributes
    ----------
    recipes : tuple of Recipe
        One for each element of `inventory`; one with a gap has no terms.
    problem, bare_problem : Problem
        The configuration, and the bare reference with the cooled stages held at what was measured.
    now, bare : (slots,) arrays
        Coefficients of the two.
    settings, knobs
        The cooler at its best, and what is unsure of it.
    T_K, bare_K : (stages,) arrays
        Temperatures of the two [K].
    subtract_W : (1, 2) array
        What the heat of the cooled stages is less than before the cooler sees it [W].
    told : tuple of bool
        For each stage whether its temperature can be told at all.
    gaps : tuple of Gap
        What could not be computed.
    """

    cryostat: Cryostat
    inventory: Inventory
    recipes: tuple[Recipe, ...]
    problem: Problem
    bare_problem: Problem
    now: Array
    bare: Array
    settings: Settings
    knobs: tuple[CoolerKnob, ...]
    T_K: Array
    bare_K: Array
    subtract_W: Array
    told: tuple[bool, ...]
    gaps: tuple[Gap, ...]

    def residuals(self) -> Residuals:
        """At the answer: no miss, but what it would become."""
        return residuals(self.problem, self.T_K[None, :], self.now[None, :], self.subtract_W, self.settings)


def take_stock(cryostat: Cryostat, elements: Sequence[Element]) -> Inventory:
    """One list of all elements; what the bare reference has unchanged is there once and belongs to both."""
    keys = [getattr(element, "key", None) for element in elements]
    place: dict[object, int] = {}
    twice = tuple(n for n, key in enumerate(keys) if place.setdefault(key, n) != n)
    everything, bare = list(elements), [0.0] * len(elements)
    for element in cryostat.bare.elements:
        here = place.get(getattr(element, "key", None))
        if here is not None and everything[here] == element and here < len(elements):
            bare[here] = 1.0
        else:
            everything.append(element)
            bare.append(1.0)
    now = np.arange(len(everything)) < len(elements)
    return Inventory(tuple(everything), now.astype(float), np.array(bare, dtype=float), twice)


def first_place(cryostat: Cryostat) -> Place:
    """The cryostat at its bare temperatures, or at usual ones."""
    present = tuple(stage in cryostat.stages for stage in fields.STAGES)
    bare_K = bare_temperatures_K(cryostat)
    shield_K, platform_K = np.where(np.isfinite(bare_K), bare_K, USUAL_K[SHIELD : PLATFORM + 1]).tolist()
    return Place(present, (float(cryostat.vessel_K), shield_K, platform_K, platform_K, platform_K))


def find_state(cryostat: Cryostat, elements: Sequence[Element]) -> State:
    """Compile, balance, and do it again where coefficients depend on the answer, until it stays.

    Raises
    ------
    NotSolved
        When there is no balance.
    """
    inventory, place = take_stock(cryostat, elements), first_place(cryostat)
    moving = [n for n, element in enumerate(inventory.elements) if feels(element)]
    recipes = [compiled(element, place) for element in inventory.elements]
    state = _balanced(cryostat, inventory, tuple(recipes), place)
    for _ in range(_MOST_ROUNDS if moving else 0):
        before_K = state.T_K
        place = place._replace(temperatures_K=tuple(_rounded(before_K)))
        for number in moving:
            recipes[number] = compiled(inventory.elements[number], place)
        state = _balanced(cryostat, inventory, tuple(recipes), place, before_K)
        if np.abs(state.T_K / before_K - 1.0).max() < _SETTLED:
            break
    return _without_uncovered(state, place)


def _rounded(T_K: Array) -> list[float]:
    """To nine digits, so that a place is met again."""
    return [float(f"{value:.9g}") for value in T_K]


def _balanced(
    cryostat: Cryostat,
    inventory: Inventory,
    recipes: tuple[Recipe, ...],
    place: Place,
    start_K: Array | None = None,
) -> State:
    lift = build_lift(cryostat)
    settings, knobs = cooler_settings(cryostat.cooler, lift)
    cooled = np.zeros(STAGES, dtype=bool)
    cooled[TWO] = lift.cooled
    floating = np.array(place.present) & ~cooled
    floating[VESSEL] = False
    base = int(np.flatnonzero(cooled)[-1]) if cooled.any() else VESSEL
    loose = [stage for stage in np.flatnonzero(floating).tolist() if stage != base]
    system = System(recipes, [(LINEAR, min(base, stage), max(base, stage)) for stage in loose])
    now, bare = system.total(inventory.now), system.total(inventory.bare)
    joined = _joined(inventory, recipes, cooled, inventory.now)
    for total, held in ((now, joined), (bare, _joined(inventory, recipes, cooled, inventory.bare))):
        for slot, stage in zip(system.extra, loose, strict=True):
            total[slot] += 0.0 if held[stage] else UNJOINED_W_K
    problem = Problem(system, lift, cooled, floating)
    bare_problem = Problem(system, lift, np.zeros(STAGES, dtype=bool), floating)
    bare_K = np.array(first_place(cryostat).temperatures_K)
    bare_K = solve(bare_problem, bare_K[None, :], bare[None, :], np.zeros((1, 2)), settings)
    subtract_W = subtracted_W(problem, bare_K, bare[None, :], settings)
    start = np.array(place.temperatures_K) if start_K is None else start_K
    T_K = solve(problem, start[None, :], now[None, :], subtract_W, settings)[0]
    told = tuple(bool(joined[stage]) for stage in range(STAGES))
    state = State(
        cryostat, inventory, recipes, problem, bare_problem, now, bare, settings, knobs, T_K, bare_K[0],
        subtract_W, told, (),
    )  # fmt: skip
    return replace(state, gaps=_gaps(state, place))


def subtracted_W(problem: Problem, bare_K: Array, bare: Array, settings: Settings) -> Array:
    """What the heat of the cooled stages (variants, 2) is lessened by before the cooler sees it."""
    known_W = problem.system.heat_W(bare, bare_K)[0][:, TWO]
    return known_W - problem.lift.reference_W(settings, known_W)


def _joined(inventory: Inventory, recipes: Sequence[Recipe], cooled: Flags, weights: Array) -> Flags:
    """Stages that are cooled, or hang through joints on one that is."""
    joints = [
        (INDEX[element.cold_stage], INDEX[element.hot_stage])
        for element, recipe, weight in zip(inventory.elements, recipes, weights, strict=True)
        if isinstance(element, Joint) and weight and recipe.gap is None
    ]
    held = cooled.copy()
    held[VESSEL] = True
    for under, carried in sorted(joints):
        held[carried] |= held[under]
    return held


def _gaps(state: State, place: Place) -> tuple[Gap, ...]:
    found = [recipe.gap for recipe in state.recipes if recipe.gap is not None]
    for number in state.inventory.twice:
        key = state.inventory.elements[number].key
        found.append(Gap(key, None, f"The key '{key}' is there twice."))
    for stage, name in enumerate(fields.STAGES):
        if place.present[stage] and not state.told[stage]:
            reason = f"Nothing says what the {name} hangs on: enter its joint."
            if stage in (SHIELD, PLATFORM):
                reason = f"What is known of the cooler says nothing of the {name}."
            found.append(Gap(None, name, reason))
    return tuple(found)


def _without_uncovered(state: State, place: Place) -> State:
    """Elements that run through temperatures their material has no data for become gaps."""
    bad: dict[int, Gap] = {}
    system, terms = state.problem.system, state.problem.system.terms
    for slot in range(len(system.row)):
        solid = system.rows[system.row[slot]].material
        ends_K = [float(state.T_K[end[slot]]) for end in (system.cold, system.hot)]
        if solid is None or solid.covers(*ends_K):
            continue
        low_K, high_K = solid.about("conductivity").covered_K
        known = f"{solid.name} is known from {low_K:g} to {high_K:g} K"
        reason = f"{known}, not from {ends_K[0]:.3g} to {ends_K[1]:.3g} K."
        stage = fields.STAGES[max(int(system.hot[slot]), SHIELD)]
        for number in np.unique(terms.element[(terms.slot == slot) & (terms.coefficient != 0.0)]).tolist():
            bad.setdefault(number, Gap(state.inventory.elements[number].key, stage, reason))
    if not bad:
        return state
    recipes = tuple(Recipe(gap=bad[n]) if n in bad else recipe for n, recipe in enumerate(state.recipes))
    return _balanced(state.cryostat, state.inventory, recipes, place, state.T_K)
