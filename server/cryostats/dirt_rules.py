"""What is asked about dirt and gas, kind by kind, and how it is read. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from server.cryostats.rules import EARLIEST_YEAR, text_faults
from server.cryostats.typed import quantity
from server.physics.statistics import Band
from server.units import BadNumber, parse_quantity, show_band, unit_named


class Asked(NamedTuple):
    """One field of a kind. With a unit it is a quantity in SI by its name; with choices one of them."""

    name: str
    label: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    hint: str = ""


@dataclass(frozen=True)
class Kind:
    """One kind of entry. `what` is what its first line is called."""

    label: str
    what: str
    describes: str
    asked: tuple[Asked, ...]


GASES = ("nitrogen", "air", "helium", "argon", "other", "unknown")
YES_NO = ("yes", "no", "unknown")
KINDS = {
    "solid": Kind(
        "New plastic, tape, print or board",
        "Material",
        "Plastics, tapes, printed parts, boards, sleeving: they give off water and solvents for hours.",
        (
            Asked("area_m2", "Area", "cm2", hint="Roughly, both sides."),
            Asked("baked", "Baked before", choices=YES_NO),
        ),
    ),
    "fluid": Kind(
        "Liquid, powder, flux or adhesive",
        "Substance",
        "By approval only where the standing orders say so.",
        (
            Asked("mass_kg", "Mass", "mg"),
            Asked("cured_s", "Cured for", "h", hint="Adhesives and varnish."),
            Asked("approved", "Approved by", hint="A name, where local rules ask for one."),
        ),
    ),
    "vent": Kind(
        "Vented and open",
        "Why it was open",
        "The last gas let in, how long it stood open, and how humid the room was.",
        (
            Asked("gas", "Vent gas", choices=GASES),
            Asked("open_s", "Open for", "h"),
            Asked("humidity", "Humidity of the room", "%"),
        ),
    ),
    "exchange": Kind(
        "Exchange gas",
        "What for",
        "Rare here; what is left of it carries heat.",
        (
            Asked("gas", "Gas", choices=GASES),
            Asked("pressure_Pa", "Pressure", "mbar"),
            Asked("pumped_out", "Pumped out again", choices=YES_NO),
        ),
    ),
    "helium": Kind(
        "Helium background",
        "Where it was measured",
        "A leak value, as the leak detector showed it.",
        (Asked("leak_Pa_m3_s", "Leak rate", "mbar·L/s"),),
    ),
}
RANGES = {
    "area_m2": 10.0,
    "mass_kg": 10.0,
    "cured_s": 3.2e7,
    "open_s": 3.2e8,
    "humidity": 1.0,
    "pressure_Pa": 2e5,
    "leak_Pa_m3_s": 1.0,
}
"""Field → the most it can be, SI. Beyond it somebody mistook a unit."""


@dataclass(frozen=True)
class Said:
    """An entry as somebody makes it; `corrects` is the number of the entry it stands in for."""

    kind: str
    what: str
    data: Mapping[str, Any] = field(default_factory=dict)
    done_at: datetime | None = None
    note: str = ""
    corrects: int | None = None


def read(kind: str, texts: Mapping[str, str]) -> tuple[dict[str, Any], dict[str, str]]:
    """The kind's fields in SI, empty ones left out; and what cannot be read, by field."""
    data: dict[str, Any] = {}
    faults: dict[str, str] = {}
    for asked in KINDS[kind].asked if kind in KINDS else ():
        text = texts.get(asked.name, "")
        if not text:
            continue
        try:
            data[asked.name] = _value(asked, text)
        except BadNumber as problem:
            faults[asked.name] = str(problem)
    return data, faults


def _value(asked: Asked, text: str) -> Any:
    if asked.choices:
        if text not in asked.choices:
            raise BadNumber(f"Choose one of {', '.join(asked.choices)}")
        return text
    if not asked.unit:
        wrong = text_faults(asked.name, "it", text, 200)
        if wrong:
            raise BadNumber(wrong[asked.name])
        return text
    found = parse_quantity(text, unit_named(asked.unit).suffix, asked.unit)
    ends = (found.low, found.high) if isinstance(found, Band) else (found, found)
    if any(end is not None and not 0 <= end <= RANGES[asked.name] for end in ends):
        raise BadNumber(f"{asked.label} must be between 0 and {show_band(RANGES[asked.name], asked.unit)}")
    return list(ends) if isinstance(found, Band) else found


def faults(said: Said, now: datetime) -> dict[str, str]:
    """What the entry itself gets wrong."""
    found = text_faults("what", "it", said.what, 200) | text_faults("note", "the note", said.note, 2000)
    if said.kind not in KINDS:
        found["kind"] = "Choose what kind of entry it is"
    if not said.what.strip():
        found["what"] = "Enter what it was"
    if said.done_at is not None and said.done_at > now + timedelta(minutes=5):
        found["done_at"] = "The time lies ahead; write it down when it has happened"
    elif said.done_at is not None and said.done_at.year < EARLIEST_YEAR:
        found["done_at"] = f"Enter a time after {EARLIEST_YEAR}"
    return found


def words(kind: str, data: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Label and value of every field that was filled, in the units of the trade."""
    asked = KINDS[kind].asked if kind in KINDS else ()
    return tuple((row.label, _shown(row, data[row.name])) for row in asked if row.name in data)


def _shown(asked: Asked, value: Any) -> str:
    if not asked.unit:
        return str(value)
    return "unknown" if value is None else show_band(quantity(value), asked.unit)
