"""A stored element as the texts of its form: the inverse of `forms.read`."""

from collections.abc import Mapping
from typing import Any

from server.cryostats.forms import UNKNOWN, Meta, metas
from server.physics.statistics import Band, Quantity
from server.physics.thermal.fields import described
from server.units import show


def typed(kind: str, data: Mapping[str, Any]) -> dict[str, str]:
    """Field name → text, for every field the element has."""
    texts: dict[str, str] = {}
    for name, meta in metas(kind).items():
        if name not in data:
            continue
        value = data[name]
        if meta["type"] == "lengths":
            texts |= {f"{name}.{path}": text_of(part, meta) for path, part in value.items()}
        elif meta["type"] == "rows":
            texts |= _rows(name, meta, value)
        else:
            texts[name] = text_of(value, meta)
    return texts


def _rows(name: str, meta: Meta, rows: list[Mapping[str, Any]]) -> dict[str, str]:
    about = described(meta["of"])
    texts = {}
    for number, row in enumerate(rows):
        group = row.get("stage", "shield") if name == "lags" else str(number)
        for field_name, value in row.items():
            if field_name in about and not (name == "lags" and field_name == "stage"):
                texts[f"{name}.{group}.{field_name}"] = text_of(value, about[field_name])
    return texts


def text_of(value: Any, meta: Meta) -> str:
    """One value as people type it."""
    if value is None:
        return UNKNOWN if meta["type"] == "material" else "?"
    if meta["type"] in ("quantity", "lengths"):
        return show(quantity(value), meta["typed_in"] or "")
    return str(value)


def quantity(value: Any) -> Quantity:
    """A quantity of the document: a number, `[low, high]`, low, best and high by name, or null."""
    if isinstance(value, dict):
        return Band(**value)
    return Band(value[0], None, value[1]) if isinstance(value, list) else value
