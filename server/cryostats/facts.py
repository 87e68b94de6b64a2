"""An element in words: the few facts a person recognises it by, in the trade's units."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.cryostats.forms import Meta, default_text, known, metas, quantity_text
from server.cryostats.rules import Put
from server.cryostats.typed import quantity
from server.physics.thermal.fields import described

STATES = ("state", "covered")


@dataclass(frozen=True)
class Fact:
    """One thing known of an element; `default` when nobody answered, `unrecorded` when that matters."""

    name: str
    value: str
    default: bool = False
    unrecorded: bool = False


def of(put: Put) -> tuple[Fact, ...]:
    """The facts of an element, states first. Defaults that are folded away in the form are not repeated."""
    if not known(put.kind):
        return ()
    facts = []
    for name, meta in metas(put.kind).items():
        if name not in put.data and (meta["advanced"] or meta["type"] in ("rows", "lengths")):
            continue
        facts += _facts(name, meta, put.data)
    return tuple(facts)


def _facts(name: str, meta: Meta, data: Mapping[str, Any]) -> list[Fact]:
    if name not in data:
        return [_default(name, meta)]
    value = data[name]
    if meta["type"] == "lengths":
        return [
            Fact(path.replace("-", " to "), quantity_text(quantity(part), meta))
            for path, part in value.items()
        ]
    if meta["type"] == "rows":
        return [_row(name, meta, row) for row in value]
    return [Fact(meta["label"].lower(), _words(value, meta), unrecorded=value == "not-recorded")]


def _default(name: str, meta: Meta) -> Fact:
    unrecorded = name in STATES and meta["default"] == "not-recorded"
    return Fact(meta["label"].lower(), default_text(meta), default=True, unrecorded=unrecorded)


def _words(value: Any, meta: Meta) -> str:
    if value is None:
        return "unknown"
    text = quantity_text(quantity(value), meta) if meta["type"] == "quantity" else str(value)
    return text.replace("-", " ") if meta["type"] == "choice" else text


def _row(name: str, meta: Meta, row: Mapping[str, Any]) -> Fact:
    if name != "lags":
        loss = described(meta["of"])["attenuation_dB"]
        value = quantity_text(quantity(row.get("attenuation_dB", loss["default"])), loss)
        return Fact(f"attenuator at {row.get('stage', 'platform')}", f"{value} dB")
    state = str(row.get("state", "not-recorded"))
    parts = [state.replace("-", " ")]
    about = described(meta["of"])
    if "length_m" in row:
        parts.append(quantity_text(quantity(row["length_m"]), about["length_m"]))
    if row.get("filler") not in (None, "unknown"):
        parts.append(str(row["filler"]).replace("-", " "))
    if row.get("held") == "both-sides":
        parts.append("from both sides")
    return Fact(f"lag at {row.get('stage', 'shield')}", ", ".join(parts), unrecorded=state == "not-recorded")


def field_words(kind: str, name: str, value: Any) -> tuple[str, str]:
    """Name and value of one field for a list of differences."""
    meta = (metas(kind) if known(kind) else {}).get(name)
    if meta is None:
        return name, _plain(value)
    facts = _facts(name, meta, {name: value})
    several = meta["type"] in ("lengths", "rows")
    words = [f"{fact.name} {fact.value}" if several else fact.value for fact in facts]
    return str(meta["label"]).lower(), "; ".join(words) or "none"


def default_words(kind: str, name: str) -> tuple[str, str]:
    """Name of a field nobody answered, and what it then means."""
    meta = (metas(kind) if known(kind) else {}).get(name)
    if meta is None:
        return name, "–"
    several = meta["type"] in ("lengths", "rows")
    return str(meta["label"]).lower(), "none" if several else f"{default_text(meta)} (default)"


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "–" if value in (None, "") else str(value)
