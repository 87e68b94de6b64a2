"""The balance itself: temperatures at which all heat goes where it can, for many variants at once."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.physics.errors import NotSolved
from server.physics.materials.arrays import Array
from server.physics.thermal.lift import Lift, Settings
from server.physics.thermal.recipe import PLATFORM, SHIELD
from server.physics.thermal.system import STAGES, Drives, System

_FLOOR_K, _CEILING_K = 0.05, 1e7
_MOST_STEPS = 400
_DIAGONAL = np.arange(STAGES)
_ONE: Array = np.eye(STAGES)
_NEAR_K = 1e-9
_STILL = 1e-11
"""Part of a temperature below which a full step no longer moves it."""


@dataclass(frozen=True, eq=False)
class Problem:
    """What is to be balanced.

    Attributes
    ----------
    system : System
        All heat paths.
    lift : Lift
        The cooler.
    cooled, floating : (stages,) arrays of bool
        Stages the cooler cools itself, and stages that take the temperature their heat gives them.
    """

    system: System
    lift: Lift
    cooled: NDArray[np.bool_]
    floating: NDArray[np.bool_]

    @cached_property
    def cooled_ones(self) -> list[int]:
        """Numbers of the stages the cooler cools itself."""
        return list(np.flatnonzero(self.cooled).tolist())

    @cached_property
    def floating_ones(self) -> list[int]:
        """Numbers of the stages that take the temperature their heat gives them."""
        return list(np.flatnonzero(self.floating).tolist())


@dataclass(frozen=True, eq=False)
class Residuals:
    """How far temperatures are from a balance [K], its derivatives by temperature, and by heat.

    With them what led there: what drives every slot, and the heat into every stage [W].
    """

    miss_K: Array
    slopes: Array
    kelvin_per_W: Array
    drives: Drives
    heat_W: Array

    @classmethod
    def of_nothing(cls) -> "Residuals":
        """Of no variant at all."""
        none = np.zeros((0, STAGES))
        square = np.zeros((0, STAGES, STAGES))
        return cls(none, square, square, Drives(none, none, none), none)


def residuals(
    problem: Problem, T_K: Array, coefficients: Array, subtract_W: Array, settings: Settings
) -> Residuals:
    """What is missing to a balance at temperatures (variants, stages).

    A cooled stage misses the temperature the cooler has for its heat less `subtract_W` (variants, 2); a
    floating one the step that would carry its heat away. Every other stage stays where it is.
    """
    drives = problem.system.drives(T_K)
    heat_W, slopes_W_K = problem.system.heat_W(coefficients, drives)
    miss_K, slopes, per_W = np.zeros_like(T_K), np.zeros_like(slopes_W_K), np.zeros_like(slopes_W_K)
    slopes[:, _DIAGONAL, _DIAGONAL] = 1.0
    kelvin, rise = problem.lift.kelvin(heat_W[:, SHIELD : PLATFORM + 1] - subtract_W, settings)
    for number, stage in enumerate((SHIELD, PLATFORM)):
        if problem.cooled[stage]:
            miss_K[:, stage] = T_K[:, stage] - kelvin[:, number]
            for into in problem.cooled_ones:
                here = rise[:, number, into - SHIELD]
                slopes[:, stage] -= here[:, None] * slopes_W_K[:, into]
                per_W[:, stage, into] = here
    for stage in problem.floating_ones:
        away_W_K = np.maximum(-slopes_W_K[:, stage, stage], 1e-15)
        miss_K[:, stage] = -heat_W[:, stage] / away_W_K
        slopes[:, stage] = -slopes_W_K[:, stage] / away_W_K[:, None]
        per_W[:, stage, stage] = 1.0 / away_W_K
    return Residuals(miss_K, slopes, per_W, drives, heat_W)


def solve(
    problem: Problem, start_K: Array, coefficients: Array, subtract_W: Array, settings: Settings
) -> Array:
    """Temperatures (variants, stages) of the balance, from `start_K` of the same shape: see `settled`."""
    return settled(problem, start_K, coefficients, subtract_W, settings)[0]


def settled(
    problem: Problem, start_K: Array, coefficients: Array, subtract_W: Array, settings: Settings
) -> tuple[Array, Residuals]:
    """Temperatures (variants, stages) of the balance, from `start_K` of the same shape, and what holds there.

    Newton's method; where a step makes things worse it is shortened as by a heat capacity, so that it
    follows how the cryostat itself would settle.

    Raises
    ------
    NotSolved
        When a variant does not converge.
    """
    T_K, drag = start_K.copy(), np.zeros(len(start_K))
    now = residuals(problem, T_K, coefficients, subtract_W, settings)
    worst = np.abs(now.miss_K).max(axis=1)
    if (worst < _NEAR_K).all():
        return T_K, now
    for _ in range(_MOST_STEPS):
        slopes = now.slopes + drag[:, None, None] * _ONE if drag.any() else now.slopes
        step = np.linalg.solve(slopes, -now.miss_K[..., None])[..., 0]
        held = T_K + np.minimum(np.maximum(step, -0.5 * T_K), T_K)
        held = np.minimum(np.maximum(held, _FLOOR_K), _CEILING_K)
        after = residuals(problem, held, coefficients, subtract_W, settings)
        size = np.abs(after.miss_K).max(axis=1)
        still = (np.abs(held - T_K) <= _STILL * held).all(axis=1) & (drag < 1e-9)
        done = (size < _NEAR_K) | still
        worse = size > worst * 1.000001
        drag = np.where(worse & ~done, np.maximum(4.0 * drag, 0.5), np.where(drag < 0.02, 0.0, drag / 3.0))
        T_K, now, worst = held, after, size
        if done.all():
            return _checked(T_K), now
    raise NotSolved("The temperatures did not settle: no balance was found.")


def _checked(T_K: Array) -> Array:
    """Refuse an answer that stuck to the edge of what is allowed, or is no number."""
    if not (np.isfinite(T_K).all() and (T_K > _FLOOR_K).all() and (T_K < _CEILING_K).all()):
        raise NotSolved("No balance was found within the temperatures a cryostat can have.")
    return T_K
