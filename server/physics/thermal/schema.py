"""The JSON schema of the document, made from the dataclasses."""

from collections.abc import Callable, Mapping
from typing import Any

from server.physics.thermal import cooler, fields
from server.physics.thermal.kinds import KINDS, KindInfo
from server.physics.thermal.reading import BOOK_FIELDS, LONGEST_KEY, MOST_ELEMENTS, MOST_ROWS
from server.physics.thermal.writing import COOLERS

About = Mapping[str, Any]


def schema() -> dict[str, Any]:
    """The JSON schema of ``{"cryostat": …, "elements": […]}`` (draft 2020-12), SI throughout."""
    definitions = {f"element-{info.kind}": _element(info) for info in KINDS.values()}
    elements = [{"$ref": f"#/$defs/{name}"} for name in definitions]
    definitions |= {f"cooler-{kind}": _object(cls, kind) for kind, cls in COOLERS.items()}
    definitions["elements"] = {"type": "array", "maxItems": MOST_ELEMENTS, "items": {"oneOf": elements}}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Heat budget document",
        "type": "object",
        "required": ["cryostat"],
        "additionalProperties": False,
        "properties": {"cryostat": _cryostat(), "elements": {"$ref": "#/$defs/elements"}},
        "$defs": definitions,
    }


def _cryostat() -> dict[str, Any]:
    bare = _object(cooler.Bare)
    bare["properties"]["elements"] = {"$ref": "#/$defs/elements"}
    found = _object(cooler.Cryostat)
    found["properties"] |= {
        "stages": {"type": "array", "items": {"enum": list(fields.STAGES)}, "uniqueItems": True},
        "cooler": {"oneOf": [{"$ref": f"#/$defs/cooler-{kind}"} for kind in COOLERS]},
        "bare": bare,
    }
    return found | {"required": ["cooler"]}


def _element(info: KindInfo) -> dict[str, Any]:
    about = {name: info.about(name) for name in fields.described(info.dataclass)}
    found = _described(about)
    found["properties"] |= {
        "key": {"type": "string", "minLength": 1, "maxLength": LONGEST_KEY},
        "kind": {"const": info.kind},
        **{name: {} for name in BOOK_FIELDS},
    }
    return {"title": info.label, "description": info.describes} | found | {"required": ["key", "kind"]}


def _object(cls: type, kind: str | None = None) -> dict[str, Any]:
    found = _described(fields.described(cls))
    if kind:
        found["properties"]["kind"] = {"const": kind}
        found["required"] = ["kind"]
    return found


def _described(about: Mapping[str, About]) -> dict[str, Any]:
    properties = {name: _field(name, description) for name, description in about.items()}
    return {"type": "object", "additionalProperties": False, "properties": properties}


def _field(name: str, about: About) -> dict[str, Any]:
    unit = fields.unit_of(name)
    title = f"{about['label']} [{unit}]" if unit else about["label"]
    return {"title": title, **({"description": about["hint"]} if about["hint"] else {})} | SHAPES[
        about["type"]
    ](about)


def _number(about: About) -> dict[str, Any]:
    low, high = about["range"]
    return {"type": "number", "minimum": low, "maximum": high}


def _optional_number(about: About) -> dict[str, Any]:
    return {"anyOf": [_number(about), {"type": "null"}]} if about["default"] is None else _number(about)


def _quantity(about: About) -> dict[str, Any]:
    number = _number(about)
    span = {"type": "array", "items": number, "minItems": 2, "maxItems": 2}
    parts = {"low": number, "best": {"anyOf": [number, {"type": "null"}]}, "high": number}
    band = {"type": "object", "properties": parts, "required": list(parts), "additionalProperties": False}
    return {"anyOf": [number, span, band, {"type": "null"}]}


def _count(about: About) -> dict[str, Any]:
    return _number(about) | {"type": "integer"}


def _choice(about: About) -> dict[str, Any]:
    return {"enum": list(about["choices"])}


def _material(_about: About) -> dict[str, Any]:
    return {"type": ["string", "null"]}


def _lengths(about: About) -> dict[str, Any]:
    stages = fields.STAGES
    crossings = [f"{hot}-{cold}" for i, hot in enumerate(stages) for cold in stages[i + 1 :]]
    properties = {crossing: _quantity(about) for crossing in crossings}
    return {"type": "object", "properties": properties, "additionalProperties": False}


def _by_stage(about: About) -> dict[str, Any]:
    number = _quantity(about) if about["banded"] else _number(about)
    properties = dict.fromkeys(fields.STAGES, number)
    return {"type": "object", "properties": properties, "additionalProperties": False}


def _rows(about: About) -> dict[str, Any]:
    return {"type": "array", "maxItems": MOST_ROWS, "items": _object(about["of"])}


SHAPES: Mapping[str, Callable[[About], dict[str, Any]]] = {
    "quantity": _quantity,
    "number": _optional_number,
    "count": _count,
    "choice": _choice,
    "stage": _choice,
    "material": _material,
    "lengths": _lengths,
    "by-stage": _by_stage,
    "rows": _rows,
}
