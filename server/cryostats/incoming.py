"""A file as it comes in: a document or a wire list, with the place of all that is to be mended in it."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.cryostats import wire_columns, wire_reading
from server.cryostats.documents import put_of
from server.cryostats.rules import Put
from server.errors import Refused
from server.physics.thermal import document
from server.web.texts import NOT_TEXT

BETWEEN = re.compile(r"[\s,:]*")
DEEPEST = 12
LONGEST_NUMBER = 40
MOST_FAULTS = 50


@dataclass(frozen=True)
class Fault:
    """What is to be mended in a file: line, path or column, and what to do. Line 0: none known."""

    line: int
    place: str
    text: str


class BadFile(Refused):
    """A file that brings nothing in, with everything that is to be mended in it."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = sorted(faults, key=lambda fault: fault.line)[:MOST_FAULTS]
        self.left_out = max(len(faults) - MOST_FAULTS, 0)
        count = "1 thing" if len(faults) == 1 else f"{len(faults)} things"
        message = f"Nothing was brought in: {count} to mend in the file"
        fields = {fault.place or f"line {fault.line}": _sentence(fault) for fault in self.faults}
        super().__init__(message, fields)


def _sentence(fault: Fault) -> str:
    return f"Line {fault.line}: {fault.text}" if fault.line else fault.text


@dataclass(frozen=True)
class Incoming:
    """The elements of a file with the place each stands at, and whether it holds whole configurations."""

    puts: tuple[Put, ...]
    lines: tuple[int, ...]
    places: tuple[str, ...]
    columns: tuple[wire_columns.Column, ...] = ()
    wires_only: bool = False


def read(content: bytes, present: Mapping[str, Put], own: document.Own | None = None) -> Incoming:
    """The elements of a file: a document where it begins as one, else a wire list. BadFile.

    A bare reference in it may name the laboratory's own materials.
    """
    if content.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"{", b"["):
        return read_document(content, own)
    listed = wire_reading.read(content)
    if listed.faults:
        raise BadFile([Fault(fault.line, fault.column, fault.text) for fault in listed.faults])
    puts = tuple(wire_reading.over(listed, present))
    return Incoming(puts, tuple(listed.lines), (), tuple(listed.columns), wires_only=True)


def read_document(content: bytes, own: document.Own | None = None) -> Incoming:
    """The elements of a document, each with the line it begins on. BadFile."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content.count(b"\n", 0, problem.start) + 1
        raise BadFile([Fault(line, "", "There is a sign in this line that is no text")]) from problem
    try:
        value = json.loads(text, object_pairs_hook=_once, parse_int=_whole)
    except json.JSONDecodeError as problem:
        fault = Fault(problem.lineno, f"column {problem.colno}", f"This is no JSON: {problem.msg}")
        raise BadFile([fault]) from problem
    except RecursionError as problem:
        raise BadFile([Fault(0, "", "There are too many brackets inside brackets")]) from problem
    except TwiceThere as problem:
        raise BadFile([Fault(0, problem.name, "This name is there twice in one object")]) from problem
    return of_document(value, element_lines(text), own)


class TwiceThere(ValueError):
    """An object that says one name twice; which of the two is meant nobody knows."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.name = name


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        raise TwiceThere(next(name for name in names if names.count(name) > 1))
    return found


def _whole(digits: str) -> int | float:
    """A whole number; one of absurd length as the infinity it amounts to, which every field refuses."""
    return int(digits) if len(digits) <= LONGEST_NUMBER else float("inf")


def element_lines(text: str) -> list[int]:
    """The line on which each element of a readable document begins; only the document's own list counts."""
    decoder = json.JSONDecoder(parse_int=_whole)
    at = _after(text, 0)
    if text[at : at + 1] != "{":
        return []
    at = _after(text, at + 1)
    while text[at : at + 1] == '"':
        name, at = decoder.raw_decode(text, at)
        at = _after(text, at)
        if name == "elements" and text[at : at + 1] == "[":
            return _lines_in_list(text, at + 1, decoder)
        _, at = decoder.raw_decode(text, at)
        at = _after(text, at)
    return []


def _lines_in_list(text: str, at: int, decoder: json.JSONDecoder) -> list[int]:
    lines = []
    at = _after(text, at)
    while text[at] != "]":
        lines.append(text.count("\n", 0, at) + 1)
        _, at = decoder.raw_decode(text, at)
        at = _after(text, at)
    return lines


def _after(text: str, at: int) -> int:
    """Where the next value begins: what stands between values is passed by."""
    found = BETWEEN.match(text, at)
    return found.end() if found else at


def of_document(value: Any, lines: Sequence[int] = (), own: document.Own | None = None) -> Incoming:
    """The elements of a document. BadFile with the path of everything that is no document."""
    strange = list(_strange(value, "", 0))
    if strange:
        raise BadFile([Fault(0, place, text) for place, text in strange])
    if not isinstance(value, dict) or not isinstance(value.get("elements"), list):
        raise BadFile([Fault(0, "", 'A document is an object {"cryostat": …, "elements": […]}')])
    rows = value["elements"]
    known = [*lines, *[0] * len(rows)][: len(rows)] if len(lines) in (0, len(rows)) else [0] * len(rows)
    faults = _around(value, own)
    puts = []
    for index, row in enumerate(rows):
        place = f"elements[{index}]"
        if not isinstance(row, dict):
            faults.append(Fault(known[index], place, "An element is an object with key and kind"))
            continue
        put, wrong = put_of(row, place)
        faults += [Fault(known[index], path, text) for path, text in wrong.items()]
        puts.append(put)
    if faults:
        raise BadFile(faults)
    return Incoming(tuple(puts), tuple(known), tuple(f"elements[{index}]" for index in range(len(rows))))


def _around(value: Mapping[str, Any], own: document.Own | None) -> list[Fault]:
    """What is wrong with the document around its elements; its cryostat is checked and then passed by."""
    faults = [
        Fault(0, name, "There is no such field") for name in value if name not in ("cryostat", "elements")
    ]
    if len(value["elements"]) > document.MOST_ELEMENTS:
        faults.append(
            Fault(0, "elements", f"A configuration holds at most {document.MOST_ELEMENTS} elements")
        )
    about = value.get("cryostat")
    if not isinstance(about, dict):
        return [*faults, Fault(0, "cryostat", "A cryostat is an object with stages and a cooler")]
    if "cooler" in about:
        try:
            document.read_cryostat(about, own=own)
        except document.BadDocument as bad:
            faults += [Fault(0, path, text) for path, text in bad.faults.items()]
    return faults


def _strange(value: Any, place: str, depth: int) -> Iterator[tuple[str, str]]:
    """What no field takes and no database keeps: texts with signs that are none, brackets without end."""
    if depth > DEEPEST:
        yield place, "There are too many brackets inside brackets"
    elif isinstance(value, str):
        if NOT_TEXT.search(value):
            yield place, "There is a sign in this text that cannot be kept"
    else:
        for name, part in _parts(value, place):
            yield from _strange(part, name, depth + 1)


def _parts(value: Any, place: str) -> Iterator[tuple[str, Any]]:
    """What is inside a value, each with its path. The names of an object are texts as well."""
    if isinstance(value, dict):
        yield from ((f"{place} (a name)".strip(), name) for name in value if NOT_TEXT.search(name))
        yield from ((f"{place}.{name}" if place else name, part) for name, part in value.items())
    elif isinstance(value, list):
        yield from ((f"{place}[{index}]", part) for index, part in enumerate(value))
