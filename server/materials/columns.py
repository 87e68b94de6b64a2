"""A table of measured values from text: comma, semicolon or tab, units in the head, decimal point or comma.

Every fault names its line.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from server.materials.rules import Points
from server.units import BadNumber, to_si, unit_named
from server.web import tabular

FEWEST_POINTS, MOST_POINTS = 2, 1000
MOST_FAULTS = 5
EXAMPLE = "T [K]; k [W/(m·K)]"
HEAD = re.compile(r"(?P<words>[^\[\]()]*?)\s*(?:\[(?P<unit>[^\[\]]*)\]|\((?P<round>.*)\))?")


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


def read(text: str) -> Points:
    """The table; BadTable with every line to mend, up to a handful."""
    if not text.strip():
        raise BadTable(f"Paste a table or choose a file; its first line is such as {EXAMPLE}")
    try:
        sheet = tabular.read(text)
    except tabular.Unreadable as problem:
        raise BadTable(told(problem)) from problem
    asked = _head(sheet.head_line, sheet.head)
    if not FEWEST_POINTS <= len(sheet.rows) <= MOST_POINTS:
        raise BadTable(f"Give {FEWEST_POINTS} to {MOST_POINTS} lines of values; here are {len(sheet.rows)}")
    rows = _rows(sheet, asked)
    return Points(
        **{one.column.field: column for one, column in zip(asked, zip(*rows, strict=True), strict=True)}
    )


def told(problem: tabular.Unreadable) -> str:
    """What is wrong with a table that cannot be taken apart, with its line."""
    return f"Line {problem.line}: {problem}" if problem.line else str(problem)


def written(points: Points) -> str:
    """The table as text that `read` reads back to the last digit."""
    given = points.written()
    shown = [column for column in COLUMNS if column.field in given]
    head = "; ".join(column.advice for column in shown)
    rows = zip(*(given[column.field] for column in shown), strict=True)
    return "\n".join([head, *("; ".join(map(repr, row)) for row in rows)])


def _head(number: int, cells: Sequence[str]) -> list[Asked]:
    """What each column tells; faults name the line of the head."""
    asked: list[Asked] = []
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


def _rows(sheet: tabular.Sheet, asked: Sequence[Asked]) -> list[tuple[float, ...]]:
    comma = tabular.has_decimal_comma(cell for _, row in sheet.rows for cell in row)
    rows: list[tuple[float, ...]] = []
    faults: list[str] = []
    before_K = 0.0
    for number, row in sheet.rows:
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


def _values(row: Sequence[str], asked: Sequence[Asked], comma: bool) -> tuple[float, ...]:
    return tuple(_value(cell.strip(), one, comma) for cell, one in zip(row, asked, strict=True))


def _value(cell: str, asked: Asked, comma: bool) -> float:
    column = asked.column
    if not cell:
        raise BadNumber(f"enter a {column.label.lower()}; every line needs every column")
    try:
        value = to_si(tabular.pointed(cell) if comma else cell, asked.unit)
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
