"""From dataclasses to JSON, and a stored budget back."""

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

from server.physics.errors import Unphysical
from server.physics.materials import Material
from server.physics.statistics import Band
from server.physics.thermal import cooler, fields, results
from server.physics.thermal.elements import Element
from server.physics.thermal.kinds import KINDS

COOLERS = {"heater-test": cooler.HeaterTest, "map": cooler.CapacityMap}
"""Kinds of cooler by the name a document has for them."""


def write_element(element: Element) -> dict[str, Any]:
    """The entry of an element; what is at the default of its kind is left out.

    A laboratory's own material is written by its name, which only a reader who is handed it understands.

    Raises
    ------
    Unphysical
        When it is made of a material that has no name.
    """
    info = KINDS[element.kind]
    about = {name: info.about(name) for name in fields.described(type(element))}
    return {"key": element.key, "kind": element.kind} | _written(element, about)


def write_cryostat(cryostat: cooler.Cryostat) -> dict[str, Any]:
    """The entry of a cryostat, its cooler and its bare reference."""
    kind = next(name for name, cls in COOLERS.items() if isinstance(cryostat.cooler, cls))
    bare = _written(cryostat.bare, fields.described(cooler.Bare))
    return {
        "stages": list(cryostat.stages),
        "cooler": {"kind": kind} | _written(cryostat.cooler, fields.described(type(cryostat.cooler))),
        "bare": {"elements": [write_element(one) for one in cryostat.bare.elements]} | bare,
    } | _written(cryostat, fields.described(cooler.Cryostat))


def _written(row: Any, about: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    found = {}
    for name, description in about.items():
        value = getattr(row, name)
        if value != description["default"]:
            found[name] = WRITERS.get(description["type"], _plain)(value)
    return found


def _plain(value: Any) -> Any:
    return value


def _quantity(value: Any) -> Any:
    if not isinstance(value, Band):
        return value
    return [value.low, value.high] if value.best is None else dataclasses.asdict(value)


def _material(value: Any) -> str | None:
    if not isinstance(value, Material):
        return None if value is None else str(value)
    if value.kind == "constant":
        raise Unphysical("Only a material that has a name of its own can be written down.")
    return value.name


def _lengths(value: Mapping[tuple[str, str], Any]) -> dict[str, Any]:
    return {f"{hot}-{cold}": _quantity(length) for (hot, cold), length in value.items()}


def _by_stage(value: Mapping[str, Any]) -> dict[str, Any]:
    return {stage: _quantity(number) for stage, number in value.items()}


def _rows(value: tuple[Any, ...]) -> list[dict[str, Any]]:
    return [_written(row, fields.described(type(row))) for row in value]


WRITERS: Mapping[str, Callable[[Any], Any]] = {
    "quantity": _quantity,
    "material": _material,
    "lengths": _lengths,
    "by-stage": _by_stage,
    "rows": _rows,
}


def write_budget(budget: results.Budget) -> dict[str, Any]:
    """A budget as JSON keeps it."""
    return {
        "model": budget.model,
        "temperatures": _bands(budget.temperatures),
        "heats": {key: _bands(by_stage) for key, by_stage in budget.heats.items()},
        "costs": {key: _bands(by_stage) for key, by_stage in budget.costs.items()},
        "margins": {stage: dataclasses.asdict(margin) for stage, margin in budget.margins.items()},
        "gaps": [dataclasses.asdict(gap) for gap in budget.gaps],
        "warnings": [dataclasses.asdict(warning) for warning in budget.warnings],
        "band_causes": [dataclasses.asdict(cause) for cause in budget.band_causes],
    }


def read_budget(entry: Mapping[str, Any]) -> results.Budget:
    """A budget as `write_budget` wrote it; raises whatever comes of something else."""
    return results.Budget(
        temperatures=_read_bands(entry["temperatures"]),
        heats={key: _read_bands(by_stage) for key, by_stage in entry["heats"].items()},
        costs={key: _read_bands(by_stage) for key, by_stage in entry["costs"].items()},
        margins={stage: _read_margin(margin) for stage, margin in entry["margins"].items()},
        gaps=tuple(results.Gap(**gap) for gap in entry["gaps"]),
        warnings=tuple(results.Warning_(**warning) for warning in entry["warnings"]),
        band_causes=tuple(results.Cause(**cause) for cause in entry["band_causes"]),
        model=entry["model"],
    )


def _bands(bands: Mapping[str, Band]) -> dict[str, Any]:
    return {name: {"low": band.low, "best": band.best, "high": band.high} for name, band in bands.items()}


def _read_bands(entry: Mapping[str, Any]) -> dict[str, Band]:
    return {name: Band(**band) for name, band in entry.items()}


def _read_margin(entry: Mapping[str, Any]) -> results.Margin:
    margin, spare = (None if entry[name] is None else Band(**entry[name]) for name in ("margin_K", "spare_W"))
    return results.Margin(entry["limit_K"], margin, entry["status"], spare)
