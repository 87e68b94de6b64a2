"""What somebody writes down at a line, read into SI once, and what arithmetic says of a torque. Pure."""

import re
from collections.abc import Callable, Mapping
from typing import Any

from server.checklists.lines import COUNT, NUMBER, SPRINGS, TEXT, TORQUE, Line
from server.checklists.rules import DONE, FAILED, LONGEST_WORDS
from server.cryostats.remarks import ENGAGED_DIAMETERS, MAKER_FIRST, STRONG, THREADS
from server.cryostats.rules import text_faults
from server.physics import mechanics
from server.physics.errors import PhysicsError
from server.units import BadNumber, in_unit, parse_quantity, show, unit_named

Record = dict[str, Any]
WHOLE = re.compile(r"[0-9]{1,4}")
NEAR = 0.10
"""A setting within a tenth of the stated one is that one (common practice, no source)."""
LONGEST_NAME = 120


def read(line: Line, typed: Mapping[str, str], outcome: str) -> tuple[Record, dict[str, str]]:
    """The record of a line as typed, and what cannot be read. What was left empty is not there."""
    record: Record = {}
    faults: dict[str, str] = {}
    _READERS.get(line.record, _nothing)(line, typed, record, faults)
    if typed.get("second", "").strip():
        record["second"] = typed["second"].strip()
    return record, faults if outcome in (DONE, FAILED) else {}


def _nothing(line: Line, typed: Mapping[str, str], record: Record, faults: dict[str, str]) -> None:
    """A line that asks for nothing."""


def _number(line: Line, typed: Mapping[str, str], record: Record, faults: dict[str, str]) -> None:
    text = typed.get("value", "").strip()
    if not text:
        return
    torque = line.record == TORQUE
    suffix = "N_m" if torque else unit_named(line.unit).suffix
    try:
        value = parse_quantity(text, suffix, None if torque else line.unit)
    except BadNumber as problem:
        faults["value"] = str(problem)
        return
    if isinstance(value, float):
        record["value"] = value
    else:
        faults["value"] = "Enter one number; what is not known is left out, in two words"


def _count(line: Line, typed: Mapping[str, str], record: Record, faults: dict[str, str]) -> None:
    for name in ("n", "of"):
        text = typed.get(name, "").strip()
        if WHOLE.fullmatch(text):
            record[name] = int(text)
        elif text:
            faults[name] = "Enter a whole number such as 8"
    if line.record == SPRINGS:
        record["right_way_up"] = typed.get("right_way_up", "") == "yes"


def _text(_line: Line, typed: Mapping[str, str], record: Record, _faults: dict[str, str]) -> None:
    if typed.get("text", "").strip():
        record["text"] = typed["text"].strip()


_Reader = Callable[[Line, Mapping[str, str], Record, dict[str, str]], None]
_READERS: Mapping[str, _Reader] = {
    NUMBER: _number,
    TORQUE: _number,
    COUNT: _count,
    SPRINGS: _count,
    TEXT: _text,
}


def faults(line: Line, record: Record, outcome: str, own_name: str) -> dict[str, str]:
    """What is missing or does not add up; a line that is not right may say as little as it likes."""
    found = text_faults("text", "it", str(record.get("text", "")), LONGEST_WORDS)
    found |= text_faults("second", "the name", str(record.get("second", "")), LONGEST_NAME)
    if outcome != DONE:
        return found
    if line.record in (NUMBER, TORQUE):
        found |= _value_faults(line, record.get("value"))
    elif line.record in (COUNT, SPRINGS):
        found |= _count_faults(line, record)
    elif line.record == TEXT and not record.get("text"):
        found["text"] = "Write down what the line asks for"
    if line.second:
        found |= _second_faults(str(record.get("second", "")), own_name)
    return found


def _second_faults(second: str, own_name: str) -> dict[str, str]:
    if not second:
        return {"second": "Enter the name of the second person"}
    if second.casefold() == own_name.casefold():
        return {"second": "A second person is somebody else than you"}
    return {}


def _value_faults(line: Line, value: object) -> dict[str, str]:
    if not isinstance(value, float):
        return {"value": "Enter the number, with its unit if it is another"}
    if line.record == TORQUE:
        return {} if value > 0 else {"value": "Enter a torque above zero, such as 5 in·lbf or 0.56 N·m"}
    beyond = ""
    if line.low is not None and value < line.low:
        beyond = f"below {show(line.low, line.unit)}"
    elif line.high is not None and value > line.high:
        beyond = f"above {show(line.high, line.unit)}"
    if beyond:
        words = f"{show(value, line.unit)} is {beyond}"
        return {"value": f"{words}. Mend the number, or press Not right: that opens a fault"}
    return {}


def _count_faults(line: Line, record: Record) -> dict[str, str]:
    n, of = record.get("n"), record.get("of", line.of)
    if n is None or of is None:
        return {"n": "Enter how many of how many"}
    if n != of:
        return {"n": f"{n} of {of} is not all: count again, or press Not right"}
    if line.record == SPRINGS and not record.get("right_way_up"):
        return {"right_way_up": "Look at each: the right way up, or press Not right"}
    return {}


def remarks(line: Line, record: Record) -> list[str]:
    """What arithmetic says of a torque: against the stated one first, then against the screw. No approval."""
    value = record.get("value")
    if line.record != TORQUE or not isinstance(value, float):
        return []
    found = []
    if line.stated_N_m and abs(value - line.stated_N_m) > NEAR * line.stated_N_m:
        words = f"Stated here is {torque_words(line.stated_N_m)}, written down is {torque_words(value)}."
        found.append(f"{words} The maker's value and the standing order come first.")
    try:
        if line.thread in THREADS.values():
            engaged_m = ENGAGED_DIAMETERS * float(line.thread.removeprefix("M")) * 1e-3
            mechanics.check_screw(line.thread, value, screw=STRONG, engaged_m=engaged_m)
    except PhysicsError as problem:
        found.append(f"{problem} {MAKER_FIRST}")
    return found


def torque_words(torque_N_m: float) -> str:
    """A torque in both units people set their drivers in."""
    return f"{in_unit(torque_N_m, 'N·m')} ({in_unit(torque_N_m, 'in·lbf', 2)})"


def words(line: Line, record: Mapping[str, Any]) -> str:
    """What was written down, as a page and the record read it."""
    found = []
    value = record.get("value")
    if isinstance(value, float):
        found.append(torque_words(value) if line.record == TORQUE else show(value, line.unit))
    if "n" in record:
        found.append(f"{record['n']} of {record.get('of', line.of if line.of is not None else '?')}")
    if record.get("right_way_up"):
        found.append("the right way up")
    found += [str(record["text"])] if record.get("text") else []
    found += [f"second person: {record['second']}"] if record.get("second") else []
    return ", ".join(found)
