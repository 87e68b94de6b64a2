"""One cryostat with one set of elements, compiled and balanced at its best values."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.physics.errors import NotSolved
from server.physics.materials.arrays import Array
from server.physics.thermal import fields
from server.physics.thermal.compile import compiled
from server.physics.thermal.cooler import Cryostat
from server.physics.thermal.cooler_knobs import CoolerKnob, cooler_settings
from server.physics.thermal.elements import Element, Joint
from server.physics.thermal.lift import Lift, Settings, bare_temperatures_K, build_lift
from server.physics.thermal.recipe import INDEX, PLATFORM, SHIELD, USUAL_K, VESSEL, Place, Recipe
from server.physics.thermal.results import Gap
from server.physics.thermal.rows import LINEAR
from server.physics.thermal.solve import Problem, Residuals, settled
from server.physics.thermal.system import STAGES, Indices, System

UNJOINED_W_K = 1.0 / 40.0
"""What a mount or sample is taken to hang on when nothing says what: its own temperature is then not told."""

_MOST_ROUNDS = 12
_SETTLED, _NEARLY = 1e-5, 1e-3
Flags = NDArray[np.bool_]
TWO = slice(SHIELD, PLATFORM + 1)


@dataclass(frozen=True, eq=False)
class Inventory:
    """All elements, those of the configuration first, then what only the bare reference has.

    `now` and `bare` say which of the two each belongs to, `joints` which are joints.
    """

    elements: tuple[Element, ...]
    now: Array
    bare: Array
    twice: tuple[int, ...]
    joints: tuple[int, ...]


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
    residuals, bare_residuals : Residuals
        What holds at the two: no miss, but what it would become.
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
    residuals: Residuals
    bare_residuals: Residuals
    subtract_W: Array
    told: tuple[bool, ...]
    gaps: tuple[Gap, ...]

    @cached_property
    def response_K_W(self) -> Array:
        """Kelvin at each stage for one watt more at each stage: (stages, stages) [K/W]."""
        return np.asarray(np.linalg.solve(self.residuals.slopes[0], self.residuals.kelvin_per_W[0]))

    @cached_property
    def load_W(self) -> Array:
        """Watts the cooler sees beyond its reference (of a map: all of them): (1, 2) [W]."""
        return np.asarray(self.residuals.heat_W[:, TWO] - self.subtract_W)

    @cached_property
    def counted(self) -> Indices:
        """The elements of the configuration that could be computed."""
        known = np.array([recipe.gap is None for recipe in self.recipes], dtype=bool)
        return np.flatnonzero(known & (self.inventory.now > 0.0))

    @cached_property
    def tested_K(self) -> tuple[Array, Flags]:
        """How warm each stage may get before the cooler is beyond its test, and whether it is at its best.

        What hangs on the platform is beyond when the platform is.
        """
        ceiling_K, beyond = np.full(STAGES, np.inf), np.zeros(STAGES, dtype=bool)
        load_W = self.load_W
        for number, stage in enumerate((SHIELD, PLATFORM)):
            limit_W = self.problem.lift.tested_W[number]
            if self.problem.cooled[stage] and np.isfinite(limit_W):
                at_limit = load_W.copy()
                at_limit[0, number] = limit_W
                kelvin = self.problem.lift.kelvin(at_limit, self.settings)[0]
                spread_K = self.cryostat.cooler.spread_K.get(fields.STAGES[stage], 0.0)
                ceiling_K[stage] = kelvin[0, number] + spread_K + 1e-9
                beyond[stage] = load_W[0, number] > limit_W * (1.0 + 1e-9)
        if beyond[PLATFORM]:
            beyond[PLATFORM:] = True
        return ceiling_K, beyond


def take_stock(cryostat: Cryostat, elements: Sequence[Element]) -> Inventory:
    """One list of all elements; what the bare reference has unchanged is there once and belongs to both."""
    place: dict[str, int] = {}
    keys = [(n, key) for n, one in enumerate(elements) if isinstance(key := getattr(one, "key", None), str)]
    twice = tuple(n for n, key in keys if place.setdefault(key, n) != n)
    everything, bare = list(elements), [0.0] * len(elements)
    for element in cryostat.bare.elements:
        here = place.get(element.key)
        if here is not None and everything[here] == element:
            bare[here] = 1.0
        else:
            everything.append(element)
            bare.append(1.0)
    now = np.arange(len(everything)) < len(elements)
    joints = tuple(n for n, element in enumerate(everything) if isinstance(element, Joint))
    return Inventory(tuple(everything), now.astype(float), np.array(bare, dtype=float), twice, joints)


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
    recipes = [compiled(element, place) for element in inventory.elements]
    moving, moved = [n for n, recipe in enumerate(recipes) if recipe.nature.feels], 0.0
    state = first_balance(cryostat, inventory, tuple(recipes), place)
    for _ in range(_MOST_ROUNDS if moving else 0):
        before_K = state.T_K
        place = place._replace(temperatures_K=tuple(_rounded(before_K)))
        for number in moving:
            recipes[number] = compiled(inventory.elements[number], place)
        state = _balanced(replace(state, recipes=tuple(recipes), gaps=gaps_of(inventory, recipes)))
        moved = np.abs(state.T_K / before_K - 1.0).max()
        if moved < _SETTLED:
            break
    else:
        if moving and not moved < _NEARLY:
            raise NotSolved("Temperatures and what depends on them did not settle together.")
    return _without_uncovered(state)


def _rounded(T_K: Array) -> list[float]:
    """To nine digits, so that a place is met again."""
    return [float(f"{value:.9g}") for value in T_K]


def first_balance(
    cryostat: Cryostat, inventory: Inventory, recipes: tuple[Recipe, ...], place: Place
) -> State:
    """Compile nothing, balance once: the recipes as they are, the cryostat at its bare temperatures."""
    lift, settings, knobs = _cooler_of(cryostat)
    problem, bare_problem = _problems(recipes, lift, place)
    start_K, none, nowhere = np.array(place.temperatures_K), np.zeros(0), Residuals.of_nothing()
    state = State(
        cryostat=cryostat,
        inventory=inventory,
        recipes=recipes,
        problem=problem,
        bare_problem=bare_problem,
        now=none,
        bare=none,
        settings=settings,
        knobs=knobs,
        T_K=start_K,
        bare_K=start_K,
        residuals=nowhere,
        bare_residuals=nowhere,
        subtract_W=np.zeros((1, 2)),
        told=(),
        gaps=gaps_of(inventory, recipes),
    )
    return _balanced(state)


_KEPT = "_cooler"


def _cooler_of(cryostat: Cryostat) -> tuple[Lift, Settings, tuple[CoolerKnob, ...]]:
    """The cooler ready for the balance, and what is unsure of it; kept, since a cryostat never changes."""
    kept: tuple[Lift, Settings, tuple[CoolerKnob, ...]] | None = cryostat.__dict__.get(_KEPT)
    if kept is None:
        lift = build_lift(cryostat)
        kept = cryostat.__dict__[_KEPT] = (lift, *cooler_settings(cryostat.cooler, lift))
    return kept


def _problems(recipes: tuple[Recipe, ...], lift: Lift, place: Place) -> tuple[Problem, Problem]:
    """What is balanced, and the same with the cooled stages held where they are.

    Every stage that is not cooled gets a slot for what it hangs on if nothing else says so.
    """
    cooled = np.zeros(STAGES, dtype=bool)
    cooled[TWO] = lift.cooled
    floating = np.array(place.present) & ~cooled
    floating[VESSEL] = False
    base = int(np.flatnonzero(cooled)[-1]) if cooled.any() else VESSEL
    loose = [stage for stage in np.flatnonzero(floating).tolist() if stage != base]
    system = System(recipes, [(LINEAR, min(base, stage), max(base, stage)) for stage in loose])
    held = np.zeros(STAGES, dtype=bool)
    return Problem(system, lift, cooled, floating), Problem(system, lift, held, floating)


def _balanced(state: State) -> State:
    """The same cryostat with its recipes as they now are, balanced from where it stood."""
    system = state.problem.system.again(state.recipes)
    problem, bare_problem = replace(state.problem, system=system), replace(state.bare_problem, system=system)
    (now, told), (bare, _) = (
        coefficients_of(state, system, w) for w in (state.inventory.now, state.inventory.bare)
    )
    bare_start_K, start_K = state.bare_K[None, :], state.T_K[None, :]
    bare_K, bare_there = settled(bare_problem, bare_start_K, bare[None, :], np.zeros((1, 2)), state.settings)
    subtract_W = subtracted_W(problem, bare_there.heat_W, state.settings)
    T_K, there = settled(problem, start_K, now[None, :], subtract_W, state.settings)
    return replace(
        state,
        problem=problem,
        bare_problem=bare_problem,
        now=now,
        bare=bare,
        T_K=T_K[0],
        bare_K=bare_K[0],
        residuals=there,
        bare_residuals=bare_there,
        subtract_W=subtract_W,
        told=tuple(told.tolist()),
    )


def coefficients_of(state: State, system: System, weights: Array) -> tuple[Array, Flags]:
    """Coefficients of all slots, and which stages hang on something that is cooled.

    What hangs on nothing is given something to hang on, or there would be no balance at all.
    """
    joined = _joined(state.inventory, state.recipes, state.problem.cooled, weights)
    total = system.total(weights)
    for slot, (_, hot, cold) in zip(system.extra, system.more, strict=True):
        stage = hot if state.problem.floating[hot] else cold
        total[slot] += 0.0 if joined[stage] else UNJOINED_W_K
    return total, joined


def subtracted_W(problem: Problem, bare_W: Array, settings: Settings) -> Array:
    """What the heat of the cooled stages (variants, 2) is lessened by before the cooler sees it.

    `bare_W` is the heat into every stage of the bare reference (variants, stages), or one for all.
    """
    known_W = np.broadcast_to(bare_W[:, TWO], (max(len(bare_W), len(settings.lift)), 2))
    return known_W - problem.lift.reference_W(settings, known_W)


def _joined(inventory: Inventory, recipes: Sequence[Recipe], cooled: Flags, weights: Array) -> Flags:
    """Stages that are cooled, or hang through joints on one that is."""
    joints = []
    for number in inventory.joints:
        element = inventory.elements[number]
        if isinstance(element, Joint) and weights[number] and recipes[number].gap is None:
            joints.append((INDEX[element.cold_stage], INDEX[element.hot_stage]))
    held = cooled.copy()
    held[VESSEL] = True
    for under, carried in sorted(joints):
        held[carried] |= held[under]
    return held


def gaps_of(inventory: Inventory, recipes: Sequence[Recipe]) -> tuple[Gap, ...]:
    """What could not be computed, and keys that are there twice."""
    found = [recipe.gap for recipe in recipes if recipe.gap is not None]
    for number in inventory.twice:
        key = inventory.elements[number].key
        found.append(Gap(key, None, f"The key '{key}' is there twice."))
    return tuple(found)


def _untold(state: State) -> list[Gap]:
    """Stages of which nothing says how warm they are."""
    found = []
    for stage in state.cryostat.stages[1:]:
        if not state.told[INDEX[stage]]:
            reason = f"Nothing says what the {stage} hangs on: enter its joint."
            if INDEX[stage] in (SHIELD, PLATFORM):
                reason = f"What is known of the cooler says nothing of the {stage}."
            found.append(Gap(None, stage, reason))
    return found


def _without_uncovered(state: State) -> State:
    """Elements that run through temperatures their material has no data for become gaps."""
    bad: dict[int, Gap] = {}
    system, terms = state.problem.system, state.problem.system.terms
    for slot in np.flatnonzero(uncovered(system, state.T_K)).tolist():
        ends_K = [float(state.T_K[end[slot]]) for end in (system.cold, system.hot)]
        solid = system.rows[system.row[slot]].material
        assert solid is not None
        low_K, high_K = solid.about("conductivity").covered_K
        known = f"{solid.name} is known from {low_K:g} to {high_K:g} K"
        reason = f"{known}, not from {ends_K[0]:.3g} to {ends_K[1]:.3g} K."
        stage = fields.STAGES[max(int(system.hot[slot]), SHIELD)]
        for number in np.unique(terms.element[(terms.slot == slot) & (terms.coefficient != 0.0)]).tolist():
            bad.setdefault(number, Gap(state.inventory.elements[number].key, stage, reason))
    if bad:
        recipes = tuple(Recipe(gap=bad[n]) if n in bad else known for n, known in enumerate(state.recipes))
        state = _balanced(replace(state, recipes=recipes, gaps=gaps_of(state.inventory, recipes)))
    return replace(state, gaps=(*state.gaps, *_untold(state)))


def uncovered(system: System, T_K: Array) -> Flags:
    """Slots that run through temperatures (…, stages) their material has no data for: (…, slots)."""
    covered_K = np.array([row.covered_K for row in system.rows])[system.row]
    hot_K, cold_K = T_K[..., system.hot], T_K[..., system.cold]
    too_cold = np.minimum(hot_K, cold_K) < covered_K[:, 0]
    return np.asarray(too_cold | (covered_K[:, 1] < np.maximum(hot_K, cold_K)))
