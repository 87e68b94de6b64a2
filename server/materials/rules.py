"""What an own material must be, and the material it makes. Pure."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from server.physics.errors import PhysicsError
from server.physics.materials import Material, material, table_material

NAME = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")
LONGEST_NAME = 40
LONGEST_TEXT = 2000
LARGEST_UNCERTAINTY = 10.0
RESERVED = frozenset({"new", "unknown", "constant", "none", "default"})
"""Words that mean something else where a material is chosen, or in an address."""


@dataclass(frozen=True)
class Points:
    """The table in SI, coldest first; a column nobody gave is None."""

    T_K: tuple[float, ...]
    conductivity_W_m_K: tuple[float, ...]
    resistivity_ohm_m: tuple[float, ...] | None = None
    specific_heat_J_kg_K: tuple[float, ...] | None = None

    def written(self) -> dict[str, list[float]]:
        """As the database keeps it."""
        return {name: list(values) for name, values in vars(self).items() if values is not None}


@dataclass(frozen=True)
class Own:
    """One material as a laboratory enters it."""

    name: str
    points: Points
    source: str
    relative_uncertainty: float
    note: str = field(default="")


def points_of(stored: Mapping[str, Sequence[Any]]) -> Points:
    """The table as the database keeps it, read again."""
    return Points(**{name: tuple(float(value) for value in values) for name, values in stored.items()})


@lru_cache(maxsize=512)
def made(own: Own) -> Material:
    """The material: the same object for the same entry, so that its integrals are worked out once."""
    points = own.points
    return table_material(
        own.name,
        points.T_K,
        points.conductivity_W_m_K,
        source=own.source,
        relative_uncertainty=own.relative_uncertainty,
        resistivity_ohm_m=points.resistivity_ohm_m,
        specific_heat_J_kg_K=points.specific_heat_J_kg_K,
        note=own.note,
    )


def name_fault(name: str) -> str | None:
    """What is wrong with the name of a new material; None when it will do."""
    if not NAME.fullmatch(name) or len(name) > LONGEST_NAME:
        return (
            f"Enter a name of at most {LONGEST_NAME} small letters, digits and single hyphens, "
            "beginning with a letter, such as our-loom-2026"
        )
    if name in RESERVED or built_in(name):
        return f"Choose another name: “{name}” is taken by the program"
    return None


def built_in(name: str) -> Material | None:
    """The material of that name which every copy of the program knows, or None."""
    try:
        return material(name)
    except PhysicsError:
        return None


def text_faults(source: str, note: str, reason: str) -> dict[str, str]:
    """Field → what to do about it, for the texts of an entry."""
    found = {}
    if not source:
        found["source"] = "Enter the source: who measured it, how and when, or where it is published"
    for name, text in (("source", source), ("note", note), ("reason", reason)):
        if len(text) > LONGEST_TEXT:
            found[name] = f"Write at most {LONGEST_TEXT} letters"
    return found


def uncertainty_fault(relative: float) -> str | None:
    """What is wrong with a relative uncertainty; None when it will do. Nothing measured has none."""
    if 0.0 < relative <= LARGEST_UNCERTAINTY:
        return None
    return "Enter a relative uncertainty above 0 and at most 1000 %, such as 15 %"
