"""Text tables as spreadsheets exchange them, written so that nothing in them is a formula, read with lines.

Written by comma, semicolon (with a decimal comma) or tab. Read by whichever of the three separates the head,
in UTF-8, UTF-16 with its mark, or the western code page that spreadsheets on desks write.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.web.texts import NOT_TEXT

MOST_ROWS = 2001
MARK = "\ufeff"
ACTIVE = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")
"""How a cell begins that a spreadsheet may take for a formula; an apostrophe marks the others."""
READ_BOTH_WAYS = re.compile(r"(?<![0-9])[1-9][0-9]{0,2}\.[0-9]{3}(?![0-9])")
PLAINLY_DECIMAL = re.compile(r"(?<![0-9])(?:0[0-9]*|[0-9]{4,}),[0-9]|[0-9],(?:[0-9]{1,2}|[0-9]{4,})(?![0-9])")


_TOO_MANY = (
    "This line has more cells than the head has names; separate a table with decimal commas "
    "by semicolon or tab"
)


class Unreadable(ValueError):
    """A table that cannot be read at all. The message says what to do; `line` is where, 0 for nowhere."""

    def __init__(self, message: str, line: int = 0) -> None:
        super().__init__(message)
        self.line = line


class Figure(str):
    """A cell that holds a number: no mark against formulas, and the decimal sign of the style."""

    __slots__ = ()


@dataclass(frozen=True)
class Style:
    """How cells are separated, and whether numbers have a decimal comma."""

    name: str
    separator: str
    decimal_comma: bool = False


STYLES = {
    style.name: style
    for style in (Style("comma", ","), Style("semicolon", ";", decimal_comma=True), Style("tab", "\t"))
}


@dataclass(frozen=True)
class Sheet:
    """A table as it was read: the head with its line, and each row with the line it begins on."""

    head: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    head_line: int = 1


def marked(text: str) -> str:
    """`text` with an apostrophe before it where a spreadsheet would take it for a formula."""
    return f"'{text}" if text.startswith(ACTIVE) else text


def plain(text: str) -> str:
    """The inverse of `marked`."""
    return text[1:] if text.startswith("'") and text[1:].startswith(ACTIVE) else text


def written(head: Sequence[str], rows: Iterable[Sequence[str]], style: Style) -> str:
    """The table as text; a `Figure` as it is, everything else marked where it looks like a formula."""
    to = io.StringIO(newline="")
    writer = csv.writer(to, delimiter=style.separator, lineterminator="\r\n")
    writer.writerow([marked(cell) for cell in head])
    for row in rows:
        writer.writerow([_cell(cell, style) for cell in row])
    return to.getvalue()


def _cell(cell: str, style: Style) -> str:
    if not isinstance(cell, Figure):
        return marked(cell)
    if not style.decimal_comma:
        return str(cell)
    # 1,234 could be read as a thousand: one more zero says that the comma is decimal.
    return READ_BOTH_WAYS.sub(lambda found: f"{found[0]}0", cell).replace(".", ",")


def decoded(content: bytes) -> str:
    """The text of a file, whatever spreadsheet wrote it. Unreadable for what is no text."""
    code = "utf-16" if content.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = content.decode(code)
    except UnicodeDecodeError:
        text = _as_western(content)
    return _checked(text)


def _checked(text: str) -> str:
    found = NOT_TEXT.search(text)
    if found:
        line = text.count("\n", 0, found.start()) + 1
        raise Unreadable("There is a sign in this line that is no text", line)
    return text


def _as_western(content: bytes) -> str:
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError as problem:
        line = content.count(b"\n", 0, problem.start) + 1
        raise Unreadable("There is a sign in this line that is no text", line) from problem


def read(text: str) -> Sheet:
    """Head and rows. Unreadable, with the line, where a quote is left open or a cell has no head."""
    text = _checked(text.removeprefix(MARK))
    separator = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[tuple[int, tuple[str, ...]]] = []
    begins = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((begins, tuple(plain(cell) for cell in cells)))
            begins = reader.line_num + 1
            if len(rows) > MOST_ROWS:
                raise Unreadable(f"Keep a list within {MOST_ROWS - 1} rows", begins)
    except csv.Error as problem:
        raise Unreadable(f"This line cannot be taken apart ({problem})", begins) from problem
    if not rows:
        raise Unreadable("The file is empty")
    return _squared(rows)


def _separator(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max("\t;,", key=first.count)


def _squared(rows: Sequence[tuple[int, tuple[str, ...]]]) -> Sheet:
    """Every row as long as the head; what stands beyond it has no name and is refused."""
    head = tuple(cell.strip() for cell in rows[0][1])
    while head and not head[-1]:
        head = head[:-1]
    for line, cells in rows[1:]:
        if any(cell.strip() for cell in cells[len(head) :]):
            raise Unreadable(_TOO_MANY, line)
    width = len(head)
    return Sheet(
        head,
        tuple((line, (*cells[:width], *[""] * (width - len(cells)))) for line, cells in rows[1:]),
        rows[0][0],
    )


def has_decimal_comma(figures: Iterable[str]) -> bool:
    """True when numbers of the file can only be meant with a decimal comma, and none has a point."""
    cells = list(figures)
    return not any(re.search(r"[0-9]\.[0-9]", cell) for cell in cells) and any(
        PLAINLY_DECIMAL.search(cell) for cell in cells
    )


def pointed(cell: str) -> str:
    """A number with its decimal comma as a point."""
    return re.sub(r"(?<=[0-9]),(?=[0-9])", ".", cell)
