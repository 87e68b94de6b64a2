"""From JSON to dataclasses, field by field, every bad one reported with its path and a sentence.

What is read and what is allowed comes from the metadata of the dataclasses (see `fields`).
"""

import math
from collections.abc import Callable, Mapping
from typing import Any

from server.physics.errors import PhysicsError
from server.physics.materials import Material, material
from server.physics.statistics import Band, Quantity
from server.physics.thermal import fields

MOST_ELEMENTS = 2000
MOST_ROWS = 500
LONGEST_KEY = 80
BOOK_FIELDS = ("label", "note", "house", "part")
"""What a book keeps beside an element; physics passes it by."""

About = Mapping[str, Any]
Faults = dict[str, str]


class BadDocument(ValueError):
    """A document that cannot be read.

    Attributes
    ----------
    faults : mapping
        Path of the field, such as ``elements[3].lengths_m.vessel-shield`` → what to do about it.
    """

    def __init__(self, faults: Mapping[str, str]) -> None:
        self.faults = dict(faults)
        super().__init__("\n".join(f"{path or 'document'}: {fault}" for path, fault in faults.items()))


class Refused(ValueError):
    """One value that cannot be read, with the sentence that says why."""


def read_fields(
    entry: Mapping[str, Any], about: Mapping[str, About], path: str
) -> tuple[dict[str, Any], Faults]:
    """The described fields of an entry; those that are absent get the default of `about`."""
    faults: Faults = {}
    found: dict[str, Any] = {}
    for name, description in about.items():
        if name in entry:
            found[name] = _take(entry[name], description, name, _join(path, name), faults)
        else:
            found[name] = description["default"]
    return found, faults


def with_own(about: Mapping[str, About], own: Mapping[str, Material]) -> Mapping[str, About]:
    """The same descriptions, in which a field that names a material may also name one of `own`."""
    if not own:
        return about
    return {
        name: {**description, "own": own} if description["type"] == "material" else description
        for name, description in about.items()
    }


def unknown_names(entry: Mapping[str, Any], known: Mapping[str, Any] | set[str], path: str) -> Faults:
    """A fault for every name that nobody reads."""
    return {_join(path, str(name)): "There is no such field." for name in entry if name not in known}


def _join(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _take(value: Any, about: About, name: str, path: str, faults: Faults) -> Any:
    try:
        return READERS[about["type"]](value, about, name, path)
    except BadDocument as inner:
        faults.update(inner.faults)
    except Refused as refusal:
        faults[path] = str(refusal)
    return None


def _number(value: Any, about: About, name: str) -> float:
    label, (low, high), unit = about["label"], about["range"], fields.unit_of(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Refused(f"{label} must be a number, without a unit.")
    if isinstance(value, float) and not math.isfinite(value):
        raise Refused(f"{label} must be a finite number.")
    if not low <= value <= high:
        ends = f"{fields.plain(low)} and {fields.plain(high)}"
        raise Refused(f"{label} must be between {ends} {unit}".rstrip() + ".")
    return float(value)


def _optional_number(value: Any, about: About, name: str, _path: str) -> float | None:
    return None if value is None and about["default"] is None else _number(value, about, name)


def read_quantity(value: Any, about: About, name: str, _path: str = "") -> Quantity:
    """A number, ``[low, high]``, ``{"low", "best", "high"}``, or None."""
    if value is None:
        return None
    if isinstance(value, list):
        parts = [_number(part, about, name) for part in value]
        if len(parts) != 2:
            raise Refused(f"{about['label']}: a range is written [low, high].")
        return _band(parts[0], None, parts[1], about)
    if isinstance(value, dict):
        if set(value) != {"low", "best", "high"}:
            raise Refused(f"{about['label']}: a band is written with low, best and high.")
        low, high = _number(value["low"], about, name), _number(value["high"], about, name)
        best = None if value["best"] is None else _number(value["best"], about, name)
        return _band(low, best, high, about)
    return _number(value, about, name)


def _band(low: float, best: float | None, high: float, about: About) -> Band:
    try:
        return Band(low, best, high)
    except ValueError:
        raise Refused(f"{about['label']}: a range goes from low to high.") from None


def _count(value: Any, about: About, name: str, _path: str) -> int:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise Refused(f"{about['label']} must be a whole number.")
    return int(_number(value, about, name))


def _choice(value: Any, about: About, _name: str, _path: str) -> str:
    if not isinstance(value, str) or value not in about["choices"]:
        raise Refused(f"{about['label']} must be one of {', '.join(about['choices'])}.")
    return value


def _material(value: Any, about: About, _name: str, _path: str) -> str | Material | None:
    if value is None:
        return None
    own = about.get("own", {})
    if isinstance(value, str) and value in own:
        found: Material = own[value]
        return found
    if not isinstance(value, str):
        raise Refused(f"{about['label']} must be the name of a material, or null for unknown.")
    try:
        return material(value).name
    except PhysicsError:
        raise Refused(f"{about['label']}: there is no material called '{value[:LONGEST_KEY]}'.") from None


def _lengths(value: Any, about: About, name: str, path: str) -> Mapping[tuple[str, str], Quantity]:
    if not isinstance(value, dict):
        raise Refused('Lengths are written {"vessel-shield": 0.30, "shield-platform": 0.15}.')
    found: dict[tuple[str, str], Quantity] = {}
    faults: Faults = {}
    for crossing, length in value.items():
        here = _join(path, crossing)
        try:
            found[_crossing(crossing)] = read_quantity(length, about, name)
        except Refused as refusal:
            faults[here] = str(refusal)
    if faults:
        raise BadDocument(faults)
    return fields.Lengths(found)


def _crossing(text: str) -> tuple[str, str]:
    hot, _, cold = text.partition("-")
    stages = fields.STAGES
    if hot not in stages or cold not in stages or stages.index(hot) >= stages.index(cold):
        raise Refused("A crossing goes from a stage to a colder one, such as vessel-shield.")
    return hot, cold


def _by_stage(value: Any, about: About, name: str, path: str) -> Mapping[str, Quantity]:
    if not isinstance(value, dict):
        raise Refused(f'{about["label"]} is written by stage, such as {{"shield": 40}}.')
    found: dict[str, Quantity] = {}
    faults: Faults = {}
    for stage, number in value.items():
        here = _join(path, stage)
        if stage not in fields.STAGES:
            faults[here] = f"A stage is one of {', '.join(fields.STAGES)}."
            continue
        try:
            found[stage] = (
                read_quantity(number, about, name) if about["banded"] else _number(number, about, name)
            )
        except Refused as refusal:
            faults[here] = str(refusal)
    if faults:
        raise BadDocument(faults)
    return found


def _rows(value: Any, about: About, _name: str, path: str) -> tuple[Any, ...]:
    if not isinstance(value, list) or len(value) > MOST_ROWS:
        raise Refused(f"{about['label']} must be a list of at most {MOST_ROWS}.")
    found = []
    faults: Faults = {}
    for number, row in enumerate(value):
        made, wrong = read_row(about["of"], row, f"{path}[{number}]")
        found.append(made)
        faults |= wrong
    if faults:
        raise BadDocument(faults)
    return tuple(found)


def read_row(cls: Any, row: Any, path: str, tag: str | None = None) -> tuple[Any, Faults]:
    """One dataclass all of whose fields describe themselves; `tag` is a name to pass by."""
    if not isinstance(row, dict):
        return None, {path: "Must be an object with named fields."}
    about = fields.described(cls)
    found, faults = read_fields(row, about, path)
    faults |= unknown_names(row, {*about, *([tag] if tag else [])}, path)
    return (None if faults else cls(**found)), faults


READERS: Mapping[str, Callable[[Any, About, str, str], Any]] = {
    "quantity": read_quantity,
    "number": _optional_number,
    "count": _count,
    "choice": _choice,
    "stage": _choice,
    "material": _material,
    "lengths": _lengths,
    "by-stage": _by_stage,
    "rows": _rows,
}
