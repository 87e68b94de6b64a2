"""A log file taken apart: separator, decimal sign, head with units, comments, lines of data. Pure.

Loggers write what they like: a preamble, comments in between, names with units in brackets or on a line of
their own, the head again after a restart, a last line cut off in the middle. What was left out is said.
"""

import csv
import hashlib
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import NamedTuple

from server.cooldowns.channels_rules import unit_of
from server.web import tabular

COMMENT = ("#", "%", "!", "//")
SEPARATORS = {"\t": "tab", ";": "semicolon", ",": "comma", " ": "spaces"}
INSIDE = "\x1f"
"""What stands between cells whose file has them in quotes."""
NO_TEXT = bytes(code for code in (*range(32), 127) if code not in b"\t\n\r")
MOST_ROWS, MOST_COLUMNS, MOST_FAULTS = 2_000_000, 400, 20
SAMPLE = 30
NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eEdD][+-]?[0-9]{1,3})?"
DATE = (
    r"(?:[0-9]{4}[-/.][0-9]{1,2}[-/.][0-9]{1,2}|[0-9]{1,2}[-/.][0-9]{1,2}[-/.][0-9]{2,4}"
    r"|[0-9]{1,2}[- ][A-Za-z]{3}[- ][0-9]{4})"
)
CLOCK = r"[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?(?: ?[AaPp][Mm])?"
STAMP = rf"{DATE}(?:T| +|_|, ?){CLOCK} ?(?:Z|UTC|[+-][0-9]{{2}}:?[0-9]{{2}})?"
NO_VALUE = ("", "nan", "null", "none", "na", "n/a", "#n/a", "-", "--", "---", "open", "off", "err", "error")
BEYOND = ("inf", "+inf", "-inf", "ovl", "ovf", "ol", "over", "under", "overload", "overrange", "underrange")
GAPS = frozenset({*NO_VALUE, *BEYOND})
"""Cells, in small letters, that say that there was no reading."""
READABLE = re.compile(rf"{NUMBER}|{STAMP}|{DATE}|{CLOCK}")
POINTED, WITH_COMMA = (
    re.compile(r"[+-]?[0-9]*\.[0-9]+(?:[eE].*)?"),
    re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE].*)?"),
)
BRACKETED = re.compile(r"\s+([(\[{])")
TIMED = re.compile(r"time|date|stamp|clock|elapsed|seconds|^t\b|^zeit", re.IGNORECASE)
NEAR = 12
"""How far above the data the head may stand, comments between."""
NAMED = re.compile(r"(.*?)\s*(?:[(\[{]\s*([^)\]}]*?)\s*[)\]}]|\s/\s*(\S+)|_(K|mK|Pa|mbar|W|mW))")


class Fault(NamedTuple):
    """What is wrong, on which line of the file (0: nowhere) and in which column."""

    line: int
    field: str
    text: str


class Unreadable(ValueError):
    """A file that cannot be taken in; nothing of it is."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__(faults[0].text)
        self.faults = faults


class Column(NamedTuple):
    """Name and unit of a column; `unit` is a symbol known here, or nothing; `written` as it stands."""

    name: str
    unit: str
    written: str


@dataclass(frozen=True)
class Layout:
    """A file taken apart. `lines` hold the data; `body` is which line of the file each was, from 0."""

    separator: str
    called: str
    decimal_comma: bool
    columns: tuple[Column, ...]
    lines: Sequence[str]
    body: Sequence[int]
    preamble: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def digest(self) -> str:
        """What stands for this head when the way it was read is remembered."""
        names = INSIDE.join(f"{column.name}|{column.written}" for column in self.columns)
        return hashlib.sha256(names.encode()).hexdigest()

    def cells(self, column: int) -> list[str]:
        """The cells of one column."""
        if column == 0:
            return [line.partition(self.separator)[0] for line in self.lines]
        return [line.split(self.separator, column + 1)[column] for line in self.lines]

    def first(self, rows: int) -> list[list[str]]:
        """The first rows, for people."""
        return [line.split(self.separator) for line in self.lines[:rows]]


def take_apart(content: bytes) -> Layout:
    """The layout of a file. Unreadable, with the lines, for what is no table of readings."""
    if not content.strip():
        raise Unreadable(Fault(0, "", "The file is empty"))
    text = _text(content)
    raw = text.split("\n")
    if not raw[-1]:
        raw.pop()
    body = _body(raw, any(mark in text for mark in COMMENT))
    if not body:
        raise Unreadable(Fault(0, "", "The file holds comments only"))
    separator, width = _separator(raw, body)
    if '"' in text and separator != " ":
        raw, separator = _unquoted(raw, separator), INSIDE
    return _laid_out(raw, body, separator, width)


def _body(raw: Sequence[str], marked: bool) -> Sequence[int]:
    """The lines that are neither empty nor a comment; of most files that is all of them."""
    if not marked and "" not in raw and not any(map(str.isspace, raw)):
        return range(len(raw))
    return [
        number
        for number, line in enumerate(raw)
        if line and not line.isspace() and not (marked and line.lstrip().startswith(COMMENT))
    ]


def _of(raw: Sequence[str], body: Sequence[int]) -> list[str]:
    return list(raw[body.start : body.stop]) if isinstance(body, range) else [raw[n] for n in body]


def _text(content: bytes) -> str:
    """The text, its lines ended by a line feed alone. A plain file, as most are, is known at once."""
    try:
        if len(content.translate(None, NO_TEXT)) == len(content):
            text = content.decode("utf-8-sig")
        else:
            text = tabular.decoded(content)
    except UnicodeDecodeError:
        text = content.decode("cp1252", "replace")
    except tabular.Unreadable as problem:
        raise Unreadable(Fault(problem.line, "", str(problem))) from problem
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def _laid_out(raw: list[str], body: Sequence[int], separator: str, width: int) -> Layout:
    begin = next(
        (at for at, number in enumerate(body) if _is_data(_split(raw[number], separator), width)), None
    )
    if begin is None:
        raise Unreadable(Fault(0, "", "No line of the file holds times and numbers"))
    head = _head(raw, body[begin], separator, width)
    lines, numbers, remarks = _data(raw, body[begin:], separator, width)
    cells = [cell for line in (*lines[:SAMPLE], *lines[-SAMPLE:]) for cell in line.split(separator)]
    called = "quoted cells" if separator == INSIDE else SEPARATORS[separator]
    comma = separator != "," and _has_decimal_comma(cells)
    preamble = tuple(line.strip() for line in raw[: body[begin]] if line.strip())[:SAMPLE]
    return Layout(separator, called, comma, head, lines, numbers, preamble, remarks)


def _split(line: str, separator: str) -> list[str]:
    if separator == " ":
        return line.replace('"', " ").split()
    cells = next(csv.reader([line], delimiter=separator), []) if '"' in line else line.split(separator)
    return [cell.strip() for cell in cells]


def readable(cell: str) -> bool:
    """True for a number, a time, or a word for a gap."""
    return cell.lower() in GAPS or READABLE.fullmatch(cell) is not None


def _separator(raw: Sequence[str], body: Sequence[int]) -> tuple[str, int]:
    """The separator by which most cells can be read, and how many cells a line has."""
    middle = len(body) // 2
    sample = [raw[number] for number in (*body[-SAMPLE:], *body[middle : middle + SAMPLE])]
    best, found = 0.0, (",", 1)
    for separator in SEPARATORS:
        rows = [_split(line, separator) for line in sample]
        width = Counter(map(len, rows)).most_common(1)[0][0]
        fitting = [cell for row in rows if len(row) == width for cell in row]
        score = sum(map(readable, fitting)) / sum(map(len, rows)) if width > 1 else 0.0
        # A day and its clock have a space between them in every other kind of file, too.
        score *= 0.7 if separator == " " else 1.0
        if score > best:
            best, found = score, (separator, width)
    if best < 0.3:
        raise Unreadable(Fault(0, "", "No separator (comma, semicolon, tab, spaces) takes these lines apart"))
    if found[1] > MOST_COLUMNS:
        raise Unreadable(Fault(0, "", f"A file has at most {MOST_COLUMNS} columns"))
    return found


def _unquoted(raw: list[str], separator: str) -> list[str]:
    """Each line with what stood between its quotes, cells apart by a sign that no text holds."""
    return [INSIDE.join(_split(line, separator)) for line in raw]


def _is_data(cells: Sequence[str], width: int) -> bool:
    said = [cell for cell in cells if cell]
    return len(cells) == width and bool(said) and sum(map(readable, said)) > len(said) / 2


def _head(raw: Sequence[str], begin: int, separator: str, width: int) -> tuple[Column, ...]:
    """Names and units from the lines above the data, a comment's mark aside; numbered without."""
    above = [line.lstrip().lstrip("#%!/ ") for line in raw[:begin] if line.strip()][-NEAR:]
    rows = [_fitted(_split(BRACKETED.sub(r"\1", line), separator), width) for line in reversed(above)]
    named = [at for at, row in enumerate(rows) if row is not None and TIMED.search(row[0])]
    units_first = len(rows) > 1 and rows[0] is not None and rows[1] is not None and _all_units(rows[0])
    at = named[0] if named else int(units_first)
    names = rows[at] if rows else None
    if names is None:
        return tuple(Column(f"column {number}", "", "") for number in range(1, width + 1))
    below = rows[at - 1] if at else None
    if below is None or not _all_units(below):
        return tuple(_column(name, "") for name in names)
    return tuple(_column(name, unit.strip("()[]{} ")) for name, unit in zip(names, below, strict=True))


def _fitted(cells: list[str], width: int) -> list[str] | None:
    """The row of names; one short where day and clock have one name for two columns."""
    if len(cells) == width - 1 and TIMED.search(cells[0]):
        return ["date", "clock", *cells[1:]]
    return cells if len(cells) == width else None


def _all_units(cells: Sequence[str]) -> bool:
    said = [cell.strip("()[]{} ") for cell in cells if cell]
    known = [cell for cell in said if unit_of(cell) is not None or cell in ("-", "UTC", "local")]
    return bool(said) and len(known) >= 0.6 * len(said)


def _column(name: str, written: str) -> Column:
    found = None if written else NAMED.fullmatch(name)
    if found is not None:
        name, written = found[1], found[2] or found[3] or found[4] or ""
    unit = unit_of(written)
    return Column(" ".join(name.split())[:80], unit.symbol if unit else "", written[:20])


def _data(
    raw: Sequence[str], body: Sequence[int], separator: str, width: int
) -> tuple[list[str], Sequence[int], tuple[str, ...]]:
    """The lines that hold data, each with as many cells as the others, and what was left out."""
    if len(body) > MOST_ROWS:
        raise Unreadable(Fault(0, "", f"Keep a file within {MOST_ROWS:,} lines"))
    lines = [" ".join(raw[n].split()) for n in body] if separator == " " else _of(raw, body)
    remarks = []
    again = sum(lines.count(line) for line in {*raw[max(0, body[0] - NEAR) : body[0]]} if line)
    if again:
        remarks.append(f"The head stands in the file {again} times more and was left out there")
        heads = set(raw[: body[0]])
        body = [n for n, line in zip(body, lines, strict=True) if line not in heads]
        lines = [line for line in lines if line not in heads]
    counts = list(map(str.count, lines, repeat(separator)))
    plain = counts.count(width - 1) == len(counts)
    wrong = [] if plain else [at for at, count in enumerate(counts) if count != width - 1]
    if wrong and wrong[-1] == len(lines) - 1 and lines[-1].count(separator) < width - 1:
        remarks.append(f"Line {body[-1] + 1}, the last, is cut off and was left out")
        lines, body, wrong = lines[:-1], body[:-1], wrong[:-1]
    if wrong:
        raise Unreadable(*(_width_fault(lines[at], body[at], separator, width) for at in wrong[:MOST_FAULTS]))
    return lines, body, tuple(remarks)


def _width_fault(line: str, number: int, separator: str, width: int) -> Fault:
    have = line.count(separator) + 1
    return Fault(number + 1, "", f"This line has {have} cells, the others {width}")


def _has_decimal_comma(cells: Sequence[str]) -> bool:
    return any(map(WITH_COMMA.fullmatch, cells)) and not any(map(POINTED.fullmatch, cells))
