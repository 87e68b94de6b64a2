"""What was typed into the form of an element, read into SI once."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from server.cryostats.forms import (
    AS_SHOWN,
    UNKNOWN,
    Meta,
    attenuator_numbers,
    crossings,
    long_crossings,
    metas,
)
from server.cryostats.models import Cryostat
from server.physics.statistics import Band, Quantity
from server.physics.thermal.fields import described
from server.units import BadNumber, parse_quantity, suffix_of

Faults = dict[str, str]


def read(kind: str, typed_texts: Mapping[str, str], cryostat: Cryostat) -> tuple[dict[str, Any], Faults]:
    """What was typed as the document has it, and what to mend, by field; the document checks the ranges."""
    data: dict[str, Any] = {}
    faults: Faults = {}
    for name, meta in metas(kind).items():
        READERS[meta["type"]](name, meta, typed_texts, cryostat, data, faults)
    return data, faults


def _read_one(
    name: str,
    meta: Meta,
    typed_texts: Mapping[str, str],
    _cryostat: Cryostat,
    data: dict[str, Any],
    faults: Faults,
) -> None:
    text = typed_texts.get(name, "")
    # A default the form chose on nobody's behalf is no answer: nothing is logged that nobody decided.
    if not text or text == typed_texts.get(AS_SHOWN + name):
        return
    try:
        data[name] = _value(name, meta, text)
    except BadNumber as bad:
        faults[name] = f"{meta['label']}: {bad}"


def _value(name: str, meta: Meta, text: str) -> Any:
    if meta["type"] == "quantity":
        value = parse_quantity(text, meta.get("suffix", suffix_of(name)), meta["typed_in"])
        return _as_document(value)
    if meta["type"] == "count":
        if not re.fullmatch(r"\d{1,9}", text):
            raise BadNumber("Enter a whole number such as 24")
        return int(text)
    if meta["type"] == "material":
        return None if text in (UNKNOWN, "?") else text
    return text


def _as_document(value: Quantity) -> Any:
    """A quantity as a document writes it."""
    if not isinstance(value, Band):
        return value
    if value.best is None:
        return [value.low, value.high]
    return {"low": value.low, "best": value.best, "high": value.high}


def _read_lengths(
    name: str,
    meta: Meta,
    typed_texts: Mapping[str, str],
    cryostat: Cryostat,
    data: dict[str, Any],
    faults: Faults,
) -> None:
    found: dict[str, Any] = {}
    for hot, cold in (*crossings(cryostat), *long_crossings(typed_texts, cryostat)):
        _read_one(
            f"{name}.{hot}-{cold}",
            {**meta, "type": "quantity", "suffix": suffix_of(name)},
            typed_texts,
            cryostat,
            found,
            faults,
        )
    if found:
        data[name] = {path.removeprefix(f"{name}."): value for path, value in found.items()}


def _read_rows(
    name: str,
    meta: Meta,
    typed_texts: Mapping[str, str],
    cryostat: Cryostat,
    data: dict[str, Any],
    faults: Faults,
) -> None:
    numbers = [str(number) for number in attenuator_numbers(typed_texts)]
    groups: Sequence[str] = cryostat.stages[1:] if name == "lags" else numbers
    anchor = "state" if name == "lags" else "stage"
    found = []
    for group in groups:
        if not typed_texts.get(f"{name}.{group}.{anchor}"):
            continue
        row: dict[str, Any] = {"stage": group} if name == "lags" else {}
        for field_name, about in described(meta["of"]).items():
            path = f"{name}.{group}.{field_name}"
            part: dict[str, Any] = {}
            _read_one(path, about, typed_texts, cryostat, part, faults)
            row |= {field_name: part[path]} if path in part else {}
        found.append(row)
    if found:
        data[name] = found


Reader = Callable[[str, Meta, Mapping[str, str], Cryostat, dict[str, Any], Faults], None]
READERS: dict[str, Reader] = {
    **dict.fromkeys(("quantity", "count", "choice", "stage", "material", "text"), _read_one),
    "lengths": _read_lengths,
    "rows": _read_rows,
}
