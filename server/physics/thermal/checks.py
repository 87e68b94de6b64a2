"""Whether an element can be at all: every field of its kind within its range."""

import math
from collections.abc import Mapping
from typing import Any

from server.physics.errors import Unphysical
from server.physics.materials import Material
from server.physics.statistics import Band
from server.physics.thermal import fields
from server.physics.thermal.kinds import KINDS

_KNOWN = {info.dataclass: fields.described(info.dataclass) for info in KINDS.values()}


def check_element(element: Any) -> None:
    """Raise `Unphysical`, with a sentence on the first field that cannot be; say nothing of one that can."""
    about = _KNOWN.get(type(element))
    if about is None or getattr(element, "kind", None) not in KINDS:
        raise Unphysical("This is no element of a kind there is.")
    if not isinstance(element.key, str) or not element.key:
        raise Unphysical("An element has a key.")
    for name, description in about.items():
        _check(getattr(element, name), description, name)


def _check(value: Any, about: Mapping[str, Any], name: str) -> None:
    CHECKS[about["type"]](value, about, name)


def _check_choice(value: Any, about: Mapping[str, Any], _name: str) -> None:
    if value not in about["choices"]:
        raise Unphysical(f"{about['label']} must be one of {', '.join(about['choices'])}.")


def _check_material(value: Any, about: Mapping[str, Any], _name: str) -> None:
    if not isinstance(value, str | Material | None):
        raise Unphysical(f"{about['label']} must be a material, its name, or unknown.")


def _check_lengths(value: Any, about: Mapping[str, Any], name: str) -> None:
    for crossing, length in value.items():
        _check_crossing(crossing)
        _check_quantity(length, about, name)


def _check_rows(value: Any, about: Mapping[str, Any], _name: str) -> None:
    for row in value:
        for part, description in fields.described(about["of"]).items():
            _check(getattr(row, part), description, part)


def _check_quantity(value: Any, about: Mapping[str, Any], name: str) -> None:
    if value is None and about["type"] != "count":
        return
    parts = (value.low, value.best, value.high) if isinstance(value, Band) else (value,)
    low, high = about["range"]
    for part in parts:
        if part is None:
            continue
        if isinstance(part, bool) or not isinstance(part, int | float) or not math.isfinite(part):
            raise Unphysical(f"{about['label']} must be a finite number.")
        if not low <= part <= high:
            unit = fields.unit_of(name)
            ends = f"{fields.plain(low)} and {fields.plain(high)}"
            raise Unphysical(f"{about['label']} must be between {ends} {unit}".rstrip() + ".")


def _check_crossing(crossing: Any) -> None:
    stages = fields.STAGES
    hot, cold = crossing
    if hot not in stages or cold not in stages or stages.index(hot) >= stages.index(cold):
        raise Unphysical("A crossing goes from a stage to a colder one.")


CHECKS = {
    "quantity": _check_quantity,
    "count": _check_quantity,
    "choice": _check_choice,
    "stage": _check_choice,
    "material": _check_material,
    "lengths": _check_lengths,
    "rows": _check_rows,
}
