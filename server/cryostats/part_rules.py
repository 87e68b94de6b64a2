"""What may be said of a part: kinds, what each asks for, states, and what cannot be. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from server.cryostats.rules import KEY, text_faults

IN_USE, SHELF, ON_LOAN, BROKEN, RETIRED = "in-use", "shelf", "on-loan", "broken", "retired"
STATES = {
    IN_USE: "in use",
    SHELF: "on the shelf",
    ON_LOAN: "on loan",
    BROKEN: "broken",
    RETIRED: "retired",
}
TOLD = {name: words for name, words in STATES.items() if name not in (ON_LOAN, IN_USE)}
"""The states a person may enter; on loan follows from a loan, in use from an element that is this part."""


def state_of(stored: str, inside: bool) -> str:
    """The state a part is in, from the one stored and whether an element is this part now."""
    return IN_USE if inside and stored in (SHELF, IN_USE) else SHELF if stored == IN_USE else stored


class Asked(NamedTuple):
    """One field of a kind; `day` fields hold a date."""

    name: str
    label: str
    hint: str = ""
    day: bool = False


@dataclass(frozen=True)
class Kind:
    """A kind of part and what it asks for."""

    label: str
    asked: tuple[Asked, ...]


_LEAD = (
    Asked("alloy", "Alloy", "As the reel says, or “not known”."),
    Asked("gauge", "Gauge or diameter", "Such as AWG 36 or 0.127 mm."),
    Asked("lines", "Lines", "How many conductors."),
    Asked("length", "Length", "Such as 0.45 m."),
    Asked("connectors", "Connectors"),
)
KINDS = {
    "ring": Kind(
        "Ring (seal)",
        (
            Asked("flange", "Flange", "Where it seals."),
            Asked("size", "Size", "Inner diameter × section."),
            Asked("compound", "Compound", "FKM, NBR, or not known."),
            Asked("fitted_on", "Fitted on", "Its age counts from here.", day=True),
            Asked("grease", "Grease"),
        ),
    ),
    "window": Kind(
        "Window",
        (
            Asked("material", "Material"),
            Asked("size", "Diameter × thickness"),
            Asked("coating", "Coating, and which side"),
            Asked("port", "Port"),
        ),
    ),
    "loom": Kind("Loom", _LEAD),
    "coax": Kind(
        "Coax",
        (
            Asked("jacket", "Jacket metal"),
            Asked("centre", "Centre metal"),
            Asked("diameter", "Outer diameter"),
            Asked("length", "Length"),
            Asked("connectors", "Connectors"),
        ),
    ),
    "thermometer": Kind(
        "Thermometer",
        (
            Asked("type", "Type", "Ruthenium oxide, diode …"),
            Asked("curve_file", "Curve file", "Name of the file with its curve."),
            Asked("calibrated_on", "Calibrated on", day=True),
            Asked("covered", "Range of the calibration", "Such as 1.4 K to 325 K."),
        ),
    ),
    "heater": Kind(
        "Heater",
        (
            Asked("resistance", "Resistance", "Such as 50 Ω, cold."),
            Asked("most", "Most it may take", "Such as 1 A or 25 W."),
        ),
    ),
    "torque-driver": Kind(
        "Torque driver",
        (
            Asked("range", "Range", "Such as 0.1–1 N·m."),
            Asked("setting", "Setting now"),
            Asked("calibrated_on", "Calibrated on", day=True),
        ),
    ),
    "transport": Kind(
        "Transport part",
        (Asked("holds", "What it holds"), Asked("count", "How many pieces")),
    ),
}
LONGEST_LINE = 200
LONGEST_NOTE = 2000


@dataclass(frozen=True)
class Described:
    """A part as somebody enters it, or describes it anew."""

    tag: str
    kind: str
    name: str
    serial: str = ""
    about: Mapping[str, str] = field(default_factory=dict)
    state: str = SHELF
    place: str = ""
    note: str = ""


@dataclass(frozen=True)
class Told:
    """What somebody says of a part on a day: where it is, what state it is in, what a test gave."""

    on_day: date
    state: str
    place: str = ""
    test: str = ""
    result: str = ""
    note: str = ""


@dataclass(frozen=True)
class Lent:
    """A loan as somebody enters it; `to_cryostat` is an address, or nothing for another laboratory."""

    to_whom: str
    lent_on: date
    due_on: date
    to_cryostat: str = ""
    note: str = ""


def described_faults(said: Described) -> dict[str, str]:
    """What a description gets wrong, field → what to do."""
    found = _lines({"name": said.name, "serial": said.serial, "place": said.place}) | _note(said.note)
    found |= _lines({f"about.{name}": text for name, text in said.about.items()})
    if not KEY.fullmatch(said.tag):
        found["tag"] = "A tag has 1 to 40 small letters, digits and inner hyphens"
    if said.kind not in KINDS:
        return found | {"kind": "Choose what kind of part it is"}
    if not said.name.strip():
        found["name"] = "Enter what people call it"
    if said.state not in TOLD:
        found["state"] = "Choose its state"
    for asked in KINDS[said.kind].asked:
        if asked.day and not _is_day(said.about.get(asked.name, "")):
            found[f"about.{asked.name}"] = "Enter a day such as 2026-03-14"
    return found


def told_faults(said: Told, state_now: str, today: date) -> dict[str, str]:
    """What an entry gets wrong. A part on loan stays so until it is brought back."""
    found = _lines({name: getattr(said, name) for name in ("place", "test", "result")}) | _note(said.note)
    if said.on_day > today:
        found["on_day"] = "The day lies ahead; write it down when it has happened"
    if state_now == ON_LOAN and said.state != ON_LOAN:
        found["state"] = "It is on loan; enter first that it came back"
    elif said.state not in TOLD and said.state != state_now:
        found["state"] = "Choose its state"
    if said.test and not said.result:
        found["result"] = "Enter what the test gave"
    if said.result and not said.test:
        found["test"] = "Enter what was tested"
    return found


def lent_faults(said: Lent, state_now: str, today: date) -> dict[str, str]:
    """What a loan gets wrong."""
    found = _lines({"to_whom": said.to_whom})
    found |= text_faults("loan_note", "the note", said.note, LONGEST_NOTE)
    if not said.to_whom.strip():
        found["to_whom"] = "Enter who has it, or where it goes"
    if said.lent_on > today:
        found["lent_on"] = "The day lies ahead; write the loan down when it goes"
    if said.due_on < said.lent_on:
        found["due_on"] = "It is due back on the day it goes or later"
    if state_now in (BROKEN, RETIRED):
        found["to_whom"] = f"It is {STATES[state_now]}; say first that it is not"
    return found


def _lines(texts: Mapping[str, str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for name, text in texts.items():
        found |= text_faults(name, "it", text, LONGEST_LINE)
    return found


def _note(text: str) -> dict[str, str]:
    return text_faults("note", "the note", text, LONGEST_NOTE)


def _is_day(text: str) -> bool:
    try:
        return not text or bool(date.fromisoformat(text))
    except ValueError:
        return False
