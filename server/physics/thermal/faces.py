"""Public functions by name, for what is kept as data: calculators and evidence."""

import importlib
from collections.abc import Callable
from typing import Any


def public_function(name: str) -> Callable[..., Any]:
    """The function a name such as ``thermal.hole_W`` or ``mechanics.preload_N`` means.

    Raises `AttributeError` when its face does not show it.
    """
    face, _, function = name.partition(".")
    found: Callable[..., Any] = getattr(importlib.import_module(f"server.physics.{face}"), function)
    return found
