"""What somebody searches for: words that either engine takes as words, and a day as a span of time. Pure."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

WORD = re.compile(r"\w+")
MOST_WORDS = 12
LONGEST = 200


def words_in(text: str) -> tuple[str, ...]:
    """The words of what was typed: letters and digits only, so that no sign of a query language is left."""
    return tuple(WORD.findall(text[:LONGEST].lower().replace("_", " "))[:MOST_WORDS])


def for_sqlite(words: Sequence[str]) -> str:
    """Every word, each as the beginning of one, in the words of FTS5."""
    return " AND ".join(f'"{word}"*' for word in words)


def for_postgresql(words: Sequence[str]) -> str:
    """Every word, each as the beginning of one, in the words of tsquery."""
    return " & ".join(f"'{word}':*" for word in words)


def span_of(day: date, zone: str) -> tuple[datetime, datetime]:
    """From the midnight that begins the day in the laboratory to the one that ends it, in UTC.

    A day on which clocks change has 23 or 25 hours; half past two may be twice in it, or not at all.
    """
    here = ZoneInfo(zone)
    begins, ends = (
        datetime.combine(at, time(), tzinfo=here).astimezone(UTC) for at in (day, day + timedelta(days=1))
    )
    return begins, ends


@dataclass(frozen=True)
class Done:
    """A revision with the time it was done."""

    number: int
    done_at: datetime


def in_force(revisions: Sequence[Done], moment: datetime) -> int:
    """The newest revision done at `moment` or before; 0 when there was none yet."""
    return max((row.number for row in revisions if row.done_at <= moment), default=0)


def out_of_order(revisions: Sequence[Done], number: int, moment: datetime) -> tuple[int, ...]:
    """Revisions below `number` that were done after `moment`: they were written down out of order."""
    return tuple(row.number for row in revisions if row.number < number and row.done_at > moment)
