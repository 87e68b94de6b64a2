"""The forms of a slip, read into SI once."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from server.errors import Refused
from server.openings import kinds
from server.openings.writing import Written
from server.stock.rules import BadAmount, read_amount
from server.units import BadNumber, parse_quantity
from server.web.forms import Form

NUMBERS = {
    "oxygen": ("", "%"),
    "coldest_K": ("K", "K"),
    "torque_N_m": ("N_m", None),
    "humidity": ("", "%"),
}
"""Field → suffix and unit of a bare number; a torque always says its unit."""
TEXTS = {
    kinds.VENT: ("gas",),
    kinds.SCREWS: ("where", "driver"),
    kinds.CLOSE: ("list_words",),
}
TICKS = {kinds.VENT: ("relief_free",), kinds.PARK: tuple(kinds.PARKING), kinds.CLOSE: ("source_closed",)}
QUANTITIES = {
    kinds.VENT: ("oxygen", "coldest_K"),
    kinds.OXYGEN: ("oxygen",),
    kinds.SCREWS: ("torque_N_m",),
    kinds.CLOSE: ("humidity",),
}


def read(kind: str, form: Form, zone: str) -> Written:
    """One step or entry as it was typed."""
    data: dict[str, Any] = {}
    faults: dict[str, str] = {}
    for name in TEXTS.get(kind, ()):
        data |= {name: form.text(name)} if form.text(name) else {}
    for name in TICKS.get(kind, ()):
        data |= {name: True} if form.has(name) else {}
    for name in QUANTITIES.get(kind, ()):
        _quantity(form, name, data, faults)
    if kind == kinds.TRAY:
        _counts(form, data, faults)
    if kind == kinds.USED:
        data["amounts"] = _amounts(form.under("item."), faults)
    return Written(kind, data, _moment(form, zone, faults), form.text("note"), faults)


def _moment(form: Form, zone: str, faults: dict[str, str]) -> datetime | None:
    try:
        return form.moment("at", zone)
    except Refused as refused:
        faults |= refused.fields
        return None


def _quantity(form: Form, name: str, data: dict[str, Any], faults: dict[str, str]) -> None:
    text = form.text(name)
    if not text:
        return
    suffix, unit = NUMBERS[name]
    try:
        value = parse_quantity(text, suffix, unit)
    except BadNumber as bad:
        faults[name] = str(bad)
        return
    if isinstance(value, int | float):
        data[name] = float(value)
    else:
        faults[name] = "Enter one number"


def _counts(form: Form, data: dict[str, Any], faults: dict[str, str]) -> None:
    for name in ("out", "in"):
        try:
            data |= {name: form.whole(name)} if form.text(name) else {}
        except Refused as refused:
            faults |= refused.fields


def _amounts(said: Mapping[str, str], faults: dict[str, str]) -> dict[str, Any]:
    found = {}
    for key, text in said.items():
        if not text:
            continue
        try:
            found[key] = read_amount(text)
        except BadAmount as bad:
            faults[f"item.{key}"] = str(bad)
    return found


def seals(form: Form) -> list[tuple[str, Written]]:
    """Row → the entry it makes; rows that were not touched are left out."""
    rows: dict[str, dict[str, str]] = {}
    for name, text in form.under("seal.").items():
        row, _, field = name.partition(".")
        rows.setdefault(row, {})[field] = text
    found = []
    for row, said in rows.items():
        kind, _, done = said.get("done", "").partition(":")
        if kind in (kinds.RING, kinds.WINDOW):
            data = {name: said[name] for name in ("where", "part", "new_part") if said.get(name)}
            found.append((row, Written(kind, {**data, "done": done})))
    return found
