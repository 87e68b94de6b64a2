"""The shape of a hand-over book: chapters of tables, the same on page, in text and in the archive. Pure."""

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from server.record.rules import Section
from server.web import moments, tabular

NOTHING = "None is written down."


@dataclass(frozen=True)
class Clock:
    """The moment a book is made, on the laboratory's clock."""

    now: datetime
    zone: str

    @property
    def today(self) -> date:
        """The laboratory's day."""
        return moments.local(self.now, self.zone).date()

    def when(self, moment: datetime | None) -> str:
        """Day and time in the laboratory; empty for no moment."""
        return moments.when(moment, self.zone) if moment else ""

    def day(self, moment: datetime | None) -> str:
        """The day in the laboratory; empty for no moment."""
        return moments.day(moment, self.zone) if moment else ""


@dataclass(frozen=True)
class Chapter:
    """Some tables under one title. `key` names it in addresses and file names."""

    key: str
    title: str
    sections: tuple[Section, ...]


@dataclass(frozen=True)
class Gap:
    """One thing the next steward should know and nobody wrote down; `address` is where it is entered."""

    where: str
    what: str
    address: str


def table_of(gaps: Iterable[Gap]) -> Section:
    """What is not known, as a table."""
    rows = tuple((gap.where, gap.what, gap.address) for gap in gaps)
    head = ("Of", "What is not known", "Where it is entered")
    return Section("What is not known", head, rows, "Nothing that this book asks for is missing.")


def name_of(text: str) -> str:
    """A text as part of a file name: small letters, digits, hyphens, at most sixty."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:60].strip("-") or "unnamed"


def tables(chapters: Iterable[Chapter]) -> Iterator[tuple[str, Section]]:
    """Every table with the name of its file, which tells the order of the book."""
    for number, chapter in enumerate(chapters, 1):
        for place, section in enumerate(chapter.sections, 1):
            yield f"{number:02d}-{chapter.key}/{place:02d}-{name_of(section.title)}.csv", section


def csv(section: Section) -> str:
    """One table by RFC 4180, its head in the first line, with the mark by which spreadsheets know UTF-8."""
    return tabular.MARK + tabular.written(section.head, section.rows, tabular.STYLES["comma"])


def as_json(chapters: Iterable[Chapter]) -> str:
    """All chapters for programs: each row a mapping from the words of its head."""
    told = [
        {"key": one.key, "title": one.title, "tables": [_told(row) for row in one.sections]}
        for one in chapters
    ]
    return json.dumps(told, indent=2, ensure_ascii=False) + "\n"


def _told(section: Section) -> Mapping[str, object]:
    return {
        "title": section.title,
        "rows": [dict(zip(section.head, row, strict=True)) for row in section.rows],
    }
