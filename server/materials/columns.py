"""A table of measured values from text: comma, semicolon or tab, units in the head, decimal point or comma.

Every fault names its line.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from server.materials.rules import Points
from server.units import BadNumber, to_si, unit_named

FEWEST_POINTS, MOST_POINTS = 2, 1000
MOST_FAULTS = 5
EXAMPLE = "T [K]; k [W/(m·K)]"
HEAD = re.compile(r"(?P<words>[^\[\]()]*?)\s*(?:\[(?P<unit>[^\[\]]*)\]|\((?P<round>.*)\))?")
POINT = re.compile(r"[0-9]\.[0-9]")
PLAINLY_DECIMAL = re.compile(r"(?<![0-9])(?:0[0-9]*|[0-9]{4,}),[0-9]|[0-9],(?:[0-9]{1,2}|[0-9]{4,})(?![0-9])")
NO_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffd]")


@dataclass(frozen=True)
class Column:
    """One thing a table may tell. Its limits show a wrong unit; they are from memory, wider than solids."""

    field: str
    suffix: str
    label: str
    names: tuple[str, ...]
    low: float
    high: float
    advice: str


COLUMNS = (
    Column("T_K", "K", "Temperature", ("t", "temp", "temperature"), 0.01, 2000.0, "T [K]"),
    Column(
        "conductivity_W_m_K",
        "W_m_K",
        "Conductivity",
        ("k", "λ", "κ", "lambda", "kappa", "conductivity", "thermal conductivity"),
        1e-6,
        1e6,
        "k [W/(m·K)]",
    ),
    Column(
        "resistivity_ohm_m",
        "ohm_m",
        "Resistivity",
        ("rho", "ρ", "resistivity", "electrical resistivity"),
        1e-14,
        1e20,
        "ρ [Ω·m]",
    ),
    Column(
        "specific_heat_J_kg_K",
        "J_kg_K",
        "Specific heat",
        ("c", "cp", "c_p", "specific heat", "heat capacity"),
        1e-9,
        1e5,
        "c [J/(kg·K)]",
    ),
)
NEEDED = COLUMNS[:2]


class BadTable(ValueError):
    """A table that cannot be read; the message names the lines and says what to do."""


@dataclass(frozen=True)
class Asked:
    """A column of this file: what it tells, and in which unit."""

    column: Column
    unit: str


def decoded(content: bytes) -> str:
    """The text of a file: UTF-8, UTF-16 with its mark, or the western code page of spreadsheets."""
    code = "utf-16" if content.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        return content.decode(code)
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def read(text: str) -> Points:
    """The table; BadTable with every line to mend, up to a handful."""
    lines = [
        (number, line) for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1) if line.strip()
    ]
    if not lines:
        raise BadTable(f"Paste a table or choose a file; its first line is such as {EXAMPLE}")
    _refuse_no_text(lines)
    separator = max("\t;,", key=lines[0][1].count)
    asked = _head(*lines[0], separator)
    if not FEWEST_POINTS <= len(lines) - 1 <= MOST_POINTS:
        raise BadTable(f"Give {FEWEST_POINTS} to {MOST_POINTS} lines of values; here are {len(lines) - 1}")
    rows = _rows(lines[1:], asked, separator)
    return Points(
        **{one.column.field: column for one, column in zip(asked, zip(*rows, strict=True), strict=True)}
    )


def written(points: Points) -> str:
    """The table as text that `read` reads back to the last digit."""
    given = points.written()
    shown = [column for column in COLUMNS if column.field in given]
    head = "; ".join(column.advice for column in shown)
    rows = zip(*(given[column.field] for column in shown), strict=True)
    return "\n".join([head, *("; ".join(map(repr, row)) for row in rows)])


def _refuse_no_text(lines: Sequence[tuple[int, str]]) -> None:
    for number, line in lines:
        if NO_TEXT.search(line):
            raise BadTable(f"Line {number}: there is a sign that is no text; save the table as CSV")


def _head(number: int, line: str, separator: str) -> list[Asked]:
    """What each column tells; faults name the line of the head."""
    asked: list[Asked] = []
    cells = line.rstrip("; \t" if separator != "," else ", \t").split(separator)
    for cell in cells:
        try:
            asked.append(_column(cell))
        except BadNumber as bad:
            raise BadTable(f"Line {number}: {bad}") from bad
    fields = [one.column for one in asked]
    for column in COLUMNS:
        if fields.count(column) > 1:
            raise BadTable(f"Line {number}: there are two columns of {column.label.lower()}; keep one")
    for column in NEEDED:
        if column not in fields:
            raise BadTable(f"Line {number}: name a column of {column.label.lower()}, {column.advice}")
    return asked


def _column(cell: str) -> Asked:
    cell = cell.strip().strip('"').strip()
    found = HEAD.fullmatch(cell)
    words = " ".join((found["words"] if found else cell).lower().split())
    column = next((one for one in COLUMNS if words in one.names), None)
    if column is None or found is None:
        known = ", ".join(one.advice for one in COLUMNS)
        raise BadNumber(f"“{cell[:40]}” is no column known here; the first line names {known}")
    unit = (found["unit"] or found["round"] or "").strip()
    if not unit:
        raise BadNumber(f"write the unit of “{cell[:40]}” beside it, such as {column.advice}")
    if unit_named(unit).suffix != column.suffix:
        raise BadNumber(f"“{unit}” is no unit of {column.label.lower()}; write such as {column.advice}")
    return Asked(column, unit)


def _rows(
    lines: Sequence[tuple[int, str]], asked: Sequence[Asked], separator: str
) -> list[tuple[float, ...]]:
    cells = [(number, _cells(line, separator)) for number, line in lines]
    comma = separator != "," and _has_decimal_comma([cell for _, row in cells for cell in row])
    rows: list[tuple[float, ...]] = []
    faults: list[str] = []
    before_K = 0.0
    for number, row in cells:
        try:
            values = _values(row, asked, comma)
            before_K = _risen(values[[one.column.field for one in asked].index("T_K")], before_K)
        except BadNumber as bad:
            faults.append(f"Line {number}: {bad}")
        else:
            rows.append(values)
    if faults:
        more = f"; and {len(faults) - MOST_FAULTS} more lines" if len(faults) > MOST_FAULTS else ""
        raise BadTable("; ".join(faults[:MOST_FAULTS]) + more)
    return rows


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip().strip('"').strip() for cell in line.rstrip().split(separator)]


def _has_decimal_comma(cells: Sequence[str]) -> bool:
    """True when a comma of this file can only be a decimal one, and nothing has a decimal point."""
    return not any(POINT.search(cell) for cell in cells) and any(
        PLAINLY_DECIMAL.search(cell) for cell in cells
    )


def _values(row: list[str], asked: Sequence[Asked], comma: bool) -> tuple[float, ...]:
    while len(row) > len(asked) and not row[-1]:
        row = row[:-1]
    if len(row) != len(asked):
        raise BadNumber(
            f"there are {len(row)} cells where the first line names {len(asked)} columns; "
            "separate a table with decimal commas by semicolon or tab"
        )
    return tuple(_value(cell, one, comma) for cell, one in zip(row, asked, strict=True))


def _value(cell: str, asked: Asked, comma: bool) -> float:
    column = asked.column
    if not cell:
        raise BadNumber(f"enter a {column.label.lower()}; every line needs every column")
    try:
        value = to_si(cell.replace(",", ".") if comma else cell, asked.unit)
    except BadNumber as bad:
        raise BadNumber(f"{column.label} “{cell[:20]}”: {bad}") from bad
    if not column.low <= value <= column.high:
        unit = unit_named(column.advice.split("[")[1].rstrip("]")).shown
        raise BadNumber(
            f"{column.label} must be between {column.low:g} and {column.high:g} {unit}; "
            "look at the unit in the first line"
        )
    return value


def _risen(T_K: float, before_K: float) -> float:
    if before_K >= T_K:
        raise BadNumber(f"temperatures must rise from line to line; {T_K:g} K comes after {before_K:g} K")
    return T_K
