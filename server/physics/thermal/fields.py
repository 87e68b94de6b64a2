"""How a field of an element describes itself: what forms, the schema and the checks are made from.

Each helper makes a dataclass field whose metadata holds

``type``
    ``quantity``, ``number``, ``count``, ``choice``, ``stage``, ``material``, ``lengths``, ``by-stage`` or
    ``rows``.
``label``
    A few words of the trade, without unit.
``hint``
    One short sentence, or nothing.
``typed_in``
    The unit people type, None for a plain number.
``range``
    Lowest and highest value in SI that is accepted.
``choices``
    The legal answers of a choice.
``default``
    What stands there when nobody answers.
``unknown``
    For a quantity: the band that "unknown" means. None where the element decides it itself.
``advanced``
    Whether a form folds it away.
``banded``
    For numbers by stage: whether each may be a band.
``of``
    For rows: the dataclass of a row.
"""

import dataclasses
from collections.abc import Mapping
from typing import Any

from server.physics.statistics import Band, Quantity

STAGES = ("vessel", "shield", "platform", "mount", "sample")
"""Every place with one temperature, from room temperature down."""

INNER = STAGES[1:]
"""Those that may be absent."""

UNITS = {
    "_per_m": "1/m",
    "_N_m": "N·m",
    "_K_W": "K/W",
    "_W_K": "W/K",
    "_m2": "m²",
    "_m": "m",
    "_A": "A",
    "_W": "W",
    "_K": "K",
    "_kg": "kg",
    "_Pa": "Pa",
    "_dB": "dB",
}
"""SI symbol behind each ending of a field name."""


def plain(value: float) -> str:
    """A number as people read it, never with an exponent.

    >>> plain(5e-06), plain(0.03), plain(10000.0)
    ('0.000005', '0.03', '10000')
    """
    text = f"{value:.12f}".rstrip("0").rstrip(".")
    return text if value == 0.0 or float(text) != 0.0 else f"{value:g}"


def unit_of(name: str) -> str:
    """The SI symbol in the name of a field, empty for a plain number.

    Examples
    --------
    >>> unit_of("resistance_K_W"), unit_of("torque_N_m"), unit_of("duty")
    ('K/W', 'N·m', '')
    """
    return next((unit for ending, unit in UNITS.items() if name.endswith(ending)), "")


def quantity(
    label: str,
    typed_in: str | None,
    limits: tuple[float, float],
    *,
    default: Quantity,
    unknown: Band | None,
    hint: str = "",
    advanced: bool = False,
) -> Any:
    """A number, a range, or unknown."""
    about = _about("quantity", label, hint, advanced, default)
    about |= {"typed_in": typed_in, "range": limits, "unknown": unknown}
    return dataclasses.field(default=default, metadata=about)


def number(
    label: str,
    typed_in: str | None,
    limits: tuple[float, float],
    *,
    default: float | None,
    advanced: bool = False,
) -> Any:
    """A plain number, with None allowed where None is the default."""
    about = _about("number", label, "", advanced, default) | {"typed_in": typed_in, "range": limits}
    return dataclasses.field(default=default, metadata=about)


def by_stage(
    label: str,
    typed_in: str | None,
    limits: tuple[float, float],
    *,
    default: Mapping[str, float],
    banded: bool = False,
    advanced: bool = False,
) -> Any:
    """A number for some of the stages, ``{"shield": 32.0}``; `banded` if it may also be a range."""
    about = _about("by-stage", label, "", advanced, dict(default))
    about |= {"typed_in": typed_in, "range": limits, "banded": banded}
    return dataclasses.field(default_factory=lambda: dict(default), metadata=about)


def count(label: str, limits: tuple[int, int], default: int, hint: str = "", advanced: bool = False) -> Any:
    """A whole number."""
    about = _about("count", label, hint, advanced, default) | {"range": limits}
    return dataclasses.field(default=default, metadata=about)


def choice(label: str, choices: tuple[str, ...], default: str, hint: str = "", advanced: bool = False) -> Any:
    """One of a few answers."""
    about = _about("choice", label, hint, advanced, default) | {"choices": choices}
    return dataclasses.field(default=default, metadata=about)


def stage(label: str, default: str, hint: str = "", choices: tuple[str, ...] = STAGES) -> Any:
    """A stage of the cryostat."""
    about = _about("stage", label, hint, False, default) | {"choices": choices}
    return dataclasses.field(default=default, metadata=about)


def material_name(label: str, default: Any, hint: str = "", advanced: bool = False) -> Any:
    """A material by name, or None for unknown."""
    return dataclasses.field(default=default, metadata=_about("material", label, hint, advanced, default))


def lengths(label: str, typed_in: str, limits: tuple[float, float], unknown: Band, hint: str = "") -> Any:
    """Lengths by crossing, from one stage to the next: ``{("vessel", "shield"): 0.30}``."""
    about = _about("lengths", label, hint, False, {})
    about |= {"typed_in": typed_in, "range": limits, "unknown": unknown}
    return dataclasses.field(default_factory=Lengths, metadata=about)


def rows(label: str, of: type, hint: str = "", advanced: bool = False) -> Any:
    """Any number of rows of one small dataclass."""
    return dataclasses.field(default=(), metadata=_about("rows", label, hint, advanced, ()) | {"of": of})


def _about(kind: str, label: str, hint: str, advanced: bool, default: Any) -> dict[str, Any]:
    return {"type": kind, "label": label, "hint": hint, "advanced": advanced, "default": default}


class Lengths(dict[tuple[str, str], Quantity]):
    """Lengths by crossing that never change, so that an element can be kept in a set."""

    def __hash__(self) -> int:  # type: ignore[override]
        return hash(frozenset(self.items()))


def described(cls: Any) -> Mapping[str, Mapping[str, Any]]:
    """Metadata of every described field of a dataclass, in order."""
    return {f.name: f.metadata for f in dataclasses.fields(cls) if "type" in f.metadata}
