"""Ports and pins: how many a configuration needs, what a pin may be, a continuity table as pasted. Pure."""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from server.cryostats.rules import Put, text_faults
from server.units import BadNumber, parse_quantity
from server.web import tabular

LINE, FREE, DEAD = "line", "free", "dead"
PIN_STATES = {LINE: "carries a line", FREE: "free", DEAD: "dead"}
LIDS = {"off": "lid off", "on": "lid on"}
DC, COAX = "dc", "coax"
CARRIES = {DC: "pins for dc lines", COAX: "coaxial connectors"}
THROUGH = {DC: ("wire", "ribbon", "heater-leads", "thermometer-leads"), COAX: ("coax",)}
"""Kinds whose conductors come in by pins, and those that need a coaxial connector for each line."""
MOST_PINS = 500
MOST_LINES = 2000
LONGEST_LINE = 200
HEADS = ("port", "pin", "line", "resistance", "isolation", "note")
OPEN_WORDS = ("open", "no", "-", "∞", "inf")


@dataclass(frozen=True)
class Lines:
    """How many lines of one sort a configuration brings in: by element, and in all.

    `unknown` are the titles of those whose count nobody wrote down: the total is then the least there are.
    """

    by_element: tuple[tuple[str, int | None], ...]

    @property
    def needed(self) -> int:
        """The lines whose count is known."""
        return sum(count for _, count in self.by_element if count is not None)

    @property
    def unknown(self) -> tuple[str, ...]:
        """What might bring more."""
        return tuple(title for title, count in self.by_element if count is None)


@dataclass(frozen=True)
class Pins:
    """The pins, or the connectors, of all ports of one sort together."""

    there: int
    dead: int

    @property
    def usable(self) -> int:
        """Those that are not dead."""
        return self.there - self.dead


@dataclass(frozen=True)
class Measured:
    """One line of a continuity table."""

    port: str
    pin: int
    line: str = ""
    open: bool = False
    resistance_ohm: float | None = None
    isolation_ohm: float | None = None
    isolation_more: bool = False
    note: str = ""


@dataclass(frozen=True)
class Readings:
    """A continuity test as somebody enters it."""

    on_day: date
    lid: str
    lines: tuple[Measured, ...]
    mount_shield_ohm: float | None = None
    mount_shield_more: bool = False
    note: str = ""


def lines_of(elements: Iterable[Put], carries: str = DC) -> Lines:
    """The lines that come in through the vessel, dc or coax. A run that begins further in needs no port."""
    return Lines(
        tuple(
            (put.title, _count(put))
            for put in elements
            if put.kind in THROUGH[carries] and _from_outside(put.data.get("lengths_m"))
        )
    )


def _from_outside(lengths_m: object) -> bool:
    """True where a run crosses from the vessel inwards; one without lengths is taken to."""
    if not isinstance(lengths_m, Mapping) or not lengths_m:
        return True
    return any(str(name).startswith("vessel-") for name in lengths_m)


def _count(put: Put) -> int | None:
    """A ribbon brings its traces, each of them a line; what is left out is one."""
    strands = put.data.get("count", 1)
    traces = put.data.get("traces", 1) if put.kind == "ribbon" else 1
    if not isinstance(strands, int) or not isinstance(traces, int):
        return None
    return strands * traces


@dataclass(frozen=True)
class Entered:
    """A port as somebody enters it."""

    name: str
    kind: str
    pins: int | None
    note: str = ""
    carries: str = DC


def port_faults(said: Entered) -> dict[str, str]:
    """What a new port gets wrong."""
    found = text_faults("name", "it", said.name, 40) | text_faults("kind", "it", said.kind, LONGEST_LINE)
    found |= text_faults("note", "the note", said.note, 2000)
    if not said.name.strip():
        found["name"] = "Enter what stands on the port"
    if said.carries not in CARRIES:
        found["carries"] = "Choose what its contacts are"
    if said.pins is None or not 1 <= said.pins <= MOST_PINS:
        found["pins"] = f"Enter how many pins it has, from 1 to {MOST_PINS}"
    return found


def pins_faults(numbers: Iterable[int], state: str, line: str, most: int) -> dict[str, str]:
    """What is wrong with entries on pins."""
    found = text_faults("line", "it", line, LONGEST_LINE)
    wrong = [number for number in numbers if not 1 <= number <= most]
    if wrong:
        found["pin"] = f"The port has pins 1 to {most}; there is no pin {wrong[0]}"
    if state not in PIN_STATES:
        found["state"] = "Choose what the pin is"
    elif state == LINE and not line.strip():
        found["line"] = "Enter which line is on it"
    return found


def pin_numbers(text: str) -> tuple[int, ...]:
    """`3`, `1-24` or `1, 3, 5-7` as numbers; BadNumber."""
    found: list[int] = []
    for part in filter(None, (piece.strip() for piece in text.split(","))):
        read = re.fullmatch(r"([0-9]{1,4})(?:\s*[-–]\s*([0-9]{1,4}))?", part)
        if read is None:
            raise BadNumber("Enter pins such as 3, or 1-24, or 1, 3, 5-7")
        found += range(int(read[1]), int(read[2] or read[1]) + 1)
        if len(found) > MOST_PINS:
            raise BadNumber(f"Enter at most {MOST_PINS} pins at once")
    if not found:
        raise BadNumber("Enter pins such as 3, or 1-24, or 1, 3, 5-7")
    return tuple(dict.fromkeys(found))


def resistance(text: str) -> tuple[float | None, bool]:
    """A resistance as the meter shows it, `12.3` or `> 200 MΩ`; with True for *more than*. BadNumber."""
    text = text.strip()
    if not text or text in ("?", "unknown"):
        return None, False
    more = text.startswith((">", "≥"))
    value = parse_quantity(text.lstrip(">≥ ").strip(), "ohm", "ohm")
    if not isinstance(value, float) or not math.isfinite(value) or value < 0:
        raise BadNumber("Enter one resistance such as 12.3 Ω or > 200 MΩ")
    return value, more


def table(text: str) -> tuple[tuple[Measured, ...], dict[str, str]]:
    """The lines of a pasted table, and what is wrong with it by `table`, each fault with line and column."""
    try:
        sheet = tabular.read(text)
    except tabular.Unreadable as problem:
        return (), {"table": f"Line {problem.line}: {problem}" if problem.line else str(problem)}
    heads = [re.sub(r"\s*[\[(].*", "", cell).strip().lower() for cell in sheet.head]
    missing = [name for name in ("port", "pin") if name not in heads]
    strange = [cell for cell, head in zip(sheet.head, heads, strict=True) if head not in HEADS]
    if missing or strange or len(set(heads)) < len(heads):
        which = f"“{strange[0][:40]}” is none of them" if strange else "port and pin are needed, each once"
        return (), {"table": f"Line 1: the columns are {', '.join(HEADS)}; {which}"}
    if len(sheet.rows) > MOST_LINES:
        return (), {"table": f"Keep a table within {MOST_LINES} lines"}
    found, wrong = [], []
    for number, cells in sheet.rows:
        made, faults = _measured(dict(zip(heads, (cell.strip() for cell in cells), strict=True)))
        wrong += [f"Line {number}, {head}: {text}" for head, text in faults.items()]
        if made:
            found.append(made)
    return tuple(found), {"table": ". ".join(wrong[:5])} if wrong else {}


def _measured(row: Mapping[str, str]) -> tuple[Measured | None, dict[str, str]]:
    faults: dict[str, str] = {}
    if not row["port"]:
        faults["port"] = "enter the port"
    if not re.fullmatch(r"[0-9]{1,4}", row["pin"]):
        faults["pin"] = "enter the number of the pin"
    for name in ("port", "line", "note"):
        faults |= text_faults(name, "it", row.get(name, ""), LONGEST_LINE)
    typed = row.get("resistance", "").lower()
    is_open = typed in OPEN_WORDS or typed.startswith((">", "≥"))
    through = None if is_open else _read(typed, "resistance", faults)[0]
    isolation, more = _read(row.get("isolation", ""), "isolation", faults)
    if faults:
        return None, faults
    words = row.get("line", ""), is_open, through, isolation, more, row.get("note", "")
    return Measured(row["port"], int(row["pin"]), *words), {}


def _read(text: str, name: str, faults: dict[str, str]) -> tuple[float | None, bool]:
    try:
        return resistance(text)
    except BadNumber as problem:
        faults[name] = str(problem)
        return None, False


def readings_faults(said: Readings, ports: Mapping[str, int], today: date) -> dict[str, str]:
    """What a test gets wrong; `ports` maps the name of each port to its number of pins."""
    found = text_faults("note", "the note", said.note, 2000)
    if said.on_day > today:
        found["on_day"] = "The day lies ahead; write it down when it was measured"
    if said.lid not in LIDS:
        found["lid"] = "Choose whether the lid was off or on"
    if not said.lines and said.mount_shield_ohm is None:
        found["table"] = "Enter at least one line, or the isolation of the mount"
    for row in said.lines:
        if row.port not in ports:
            found["table"] = f"There is no port “{row.port[:40]}” here"
        elif not 1 <= row.pin <= ports[row.port]:
            found["table"] = f"Port {row.port} has pins 1 to {ports[row.port]}; there is no pin {row.pin}"
    places = [(row.port, row.pin) for row in said.lines]
    twice = next((place for place in places if places.count(place) > 1), None)
    if twice and "table" not in found:
        found["table"] = f"Port {twice[0]}, pin {twice[1]} is there twice"
    return found
