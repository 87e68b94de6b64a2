"""What is typed into a calculator, read into SI; what it answers, in the units people read."""

from collections.abc import Iterable, Mapping
from typing import Any

from server.physics.statistics import Band
from server.physics.thermal.asking import Calculator, Input, Output
from server.units import KINDS, BadNumber, in_unit, parse_quantity, show, show_band, unit_for, unit_named

OFTEN = {"m": "mm", "m2": "mm2", "Pa": "mbar", "A": "A", "W": "W", "K": "K"}
LARGE_Pa = 1e7
YES = "yes"


def unit_of(asked: Input) -> str:
    """The unit a bare number is read in; a number without unit is itself, as formulas have it."""
    if not asked.suffix or asked.suffix not in KINDS:
        return ""
    if asked.suffix == "Pa" and isinstance(asked.start, float) and asked.start > LARGE_Pa:
        return "GPa" if asked.start > 1e9 else "MPa"
    return OFTEN.get(asked.suffix, next(iter(KINDS[asked.suffix].units)))


def start_text(asked: Input) -> str:
    """What stands in a field to begin with."""
    if asked.kind == "yes-no":
        return YES if asked.start else "no"
    if asked.kind == "number" and isinstance(asked.start, int | float | Band):
        return show(asked.start, unit_of(asked))
    return "" if asked.start is None else str(asked.start)


def texts(calculator: Calculator, typed: Mapping[str, str]) -> dict[str, str]:
    """Every field's text: as typed, else as it begins."""
    return {asked.name: typed.get(asked.name, start_text(asked)) for asked in calculator.inputs}


def read(calculator: Calculator, given: Mapping[str, str]) -> tuple[dict[str, Any], dict[str, str]]:
    """Arguments for the function, and what to mend, by name. An empty field is left to its default."""
    values: dict[str, Any] = {}
    faults: dict[str, str] = {}
    for asked in calculator.inputs:
        text = given[asked.name].strip()
        if not text:
            continue
        try:
            values[asked.name] = _value(asked, text)
        except BadNumber as bad:
            faults[asked.name] = f"{asked.label}: {bad}"
    return values, faults


def _value(asked: Input, text: str) -> Any:
    if asked.kind == "yes-no":
        return text == YES
    if asked.kind == "whole":
        if not text.isdigit() or len(text) > 9:
            raise BadNumber("Enter a whole number such as 3")
        return int(text)
    if asked.kind != "number":
        return text
    value = parse_quantity(text, asked.suffix if asked.suffix in KINDS else "", unit_of(asked))
    if not isinstance(value, float):
        raise BadNumber("Enter one number; a calculator takes no range")
    return value


def shown(output: Output) -> str:
    """One answer in words."""
    return _words(output.value, output.suffix)


def _words(value: object, suffix: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple | list):
        return ", ".join(_words(part, suffix) for part in value) or "none"
    if isinstance(value, Band):
        return show_band(value, unit_for([value], suffix)) if suffix in KINDS else _bare_band(value, suffix)
    if isinstance(value, int | float):
        return _number(float(value), suffix)
    return "not defined" if value is None else str(value)


def _number(value: float, suffix: str) -> str:
    if suffix in KINDS:
        return in_unit(value, unit_for([value], suffix), 4)
    return f"{value:.4g} {symbol(suffix)}".strip()


def _bare_band(band: Band, suffix: str) -> str:
    ends = [f"{end:.3g}" for end in (band.low, band.high) if end is not None]
    best = "" if band.best is None else f"{band.best:.3g} {symbol(suffix)} "
    return f"{best}({'–'.join(ends)})"


def symbol(suffix: str) -> str:
    """The sign of a suffix that nobody types: `W_m2_K_Pa` is W/(m²·K·Pa)."""
    if suffix in KINDS:
        return unit_named(next(iter(KINDS[suffix].units))).shown if KINDS[suffix].units else ""
    above, *below = suffix.replace("per_", "1_").split("_")
    return above + _below(part.replace("2", "²").replace("3", "³").replace("4", "⁴") for part in below)


def _below(parts: Iterable[str]) -> str:
    units = list(parts)
    if not units:
        return ""
    return f"/{units[0]}" if len(units) == 1 else f"/({'·'.join(units)})"
