"""From elements to recipes: each compiled once for a place, and kept."""

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Any

from server.physics.errors import PhysicsError
from server.physics.thermal import compile_openings, compile_parts
from server.physics.thermal.checks import check_element
from server.physics.thermal.compile_run import run_terms
from server.physics.thermal.elements import (
    Element,
    Gas,
    Hole,
    Joint,
    Lid,
    Mass,
    Source,
    Support,
    Surface,
    Touch,
    Window,
)
from server.physics.thermal.recipe import Nature, Place, Reader, Recipe, Refusal, Term, cook
from server.physics.thermal.remarks import has_copper, remarks
from server.physics.thermal.results import Gap
from server.physics.thermal.runs import Run

BUILDERS: dict[type, Callable[[Any, Place, Reader], list[Term]]] = {
    Run: run_terms,
    Support: compile_parts.support_terms,
    Lid: compile_openings.lid_terms,
    Window: compile_openings.window_terms,
    Hole: compile_openings.hole_terms,
    Surface: compile_parts.surface_terms,
    Source: compile_parts.source_terms,
    Joint: compile_parts.joint_terms,
    Mass: compile_parts.mass_terms,
    Touch: compile_parts.touch_terms,
    Gas: compile_parts.gas_terms,
}


def nature(element: Element) -> Nature:
    """How it behaves, copper left out: that asks for a run whose materials can be read."""
    carries = isinstance(element, Run) and not _is_nought(element.current_A)
    feels = carries or isinstance(element, Surface | Gas)
    return Nature(feels, carries, not isinstance(element, Run | Joint))


def _is_nought(value: object) -> bool:
    return isinstance(value, int | float) and value == 0.0


def _copper(element: Element) -> bool:
    return isinstance(element, Run) and has_copper(element)


def compiled(element: Element, place: Place) -> Recipe:
    """The recipe of an element at a place. One that cannot be computed becomes a gap, whatever it is.

    An element never changes, so what it last became stays with it; an equal one gets the same.
    """
    kept: tuple[Place, Recipe] | None = getattr(element, "__dict__", {}).get(_KEPT)
    if kept is not None and kept[0] == place:
        return kept[1]
    try:
        recipe = _compiled(element, place)
        element.__dict__[_KEPT] = (place, recipe)
    except (TypeError, AttributeError):  # it has no hash, or is nothing like an element
        return _attempt(element, place)
    return recipe


_KEPT = "_compiled"


def compiled_plainly(element: Element, place: Place) -> Recipe:
    """The recipe of an element at its best values alone: quicker, and nothing new is kept."""
    kept: tuple[Place, Recipe] | None = getattr(element, "__dict__", {}).get(_KEPT)
    return kept[1] if kept is not None and kept[0] == place else _attempt(element, place, unsure=False)


@lru_cache(maxsize=4096)
def _compiled(element: Element, place: Place) -> Recipe:
    return _attempt(element, place)


def _attempt(element: Element, place: Place, unsure: bool = True) -> Recipe:
    """Never raises for a bad element: it becomes a gap."""
    try:
        check_element(element)
        builder = BUILDERS[type(element)]
        recipe = cook(lambda read: builder(element, place, read), remarks(element, place), unsure)
        return replace(recipe, nature=nature(element)._replace(copper=_copper(element)))
    except Refusal as refusal:
        return _gap(element, str(refusal), refusal.stage)
    except PhysicsError as problem:
        return _gap(element, str(problem))
    except (TypeError, ValueError, ArithmeticError, AttributeError, LookupError) as problem:
        return _gap(element, f"It cannot be read ({type(problem).__name__}).")


def _gap(element: Any, reason: str, stage: str | None = None) -> Recipe:
    """A recipe of nothing, that touches every stage the element speaks of."""
    key = getattr(element, "key", None)
    found = Gap(key if isinstance(key, str) else None, stage or _warmest(element), reason)
    return Recipe(gap=found, nature=nature(element))


def _warmest(element: Any) -> str | None:
    """The first stage, from the warm end, that the element brings heat to; None if that cannot be told."""
    if isinstance(element, Run):
        held = [lag.stage for lag in element.lags if lag.state != "none"]
        return next((stage for stage in ("shield", "platform") if stage in [*held, element.ends_on]), None)
    named = [getattr(element, name, None) for name in ("stage", "hot_stage", "cold_stage")]
    return next((stage for stage in ("shield", "platform", "mount", "sample") if stage in named), None)
