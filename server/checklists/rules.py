"""What an answer may be, where a checklist stands, and what a list may hold. Pure."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from server.checklists.lines import EACH, NUMBER, RECORDS, TORQUE, Line
from server.checklists.models import Answer
from server.checklists.own_words import GATES, LISTS
from server.cryostats.rules import KEY, text_faults
from server.units import BadNumber, unit_named

DONE, FAILED, SKIPPED = "done", "failed", "skipped"
OUTCOMES = {DONE: "done", FAILED: "not right", SKIPPED: "left out"}
WORD = re.compile(r"\w{2,}")
MOST_LINES = 80
LONGEST_TEXT = 300
LONGEST_WORDS = 1000
LONGEST_ABOUT = 200


@dataclass(frozen=True)
class Standing:
    """Where a checklist stands. `gate_open` says that no line holds anything back; `reasons` say what does.

    It says what was answered, and never that anything is without danger: local rules decide.
    """

    answered: int
    failing: tuple[str, ...]
    skipped: tuple[str, ...]
    open_lines: tuple[str, ...]
    gate_open: bool
    reasons: tuple[str, ...]
    hurried_s: float | None = None
    """How long it took, where nobody can have looked at all of it in that time."""

    @property
    def complete(self) -> bool:
        """True when every line has its answer, whatever it is."""
        return not self.open_lines

    @property
    def words(self) -> str:
        """`18 of 22 answered, 1 not right, 1 left out`."""
        total = self.answered + len(self.open_lines)
        parts = [f"{self.answered} of {total} answered"]
        parts += [f"{len(self.failing)} not right"] if self.failing else []
        parts += [f"{len(self.skipped)} left out"] if self.skipped else []
        return ", ".join(parts)


def standing_of(list_key: str, lines: Sequence[Line], answers: Mapping[str, Answer]) -> Standing:
    """Where it stands by the newest answer of each line."""
    outcomes = {key: row.outcome for key, row in answers.items()}

    def texts(outcome: str | None) -> tuple[str, ...]:
        return tuple(line.text for line in lines if outcomes.get(line.key) == outcome)

    reasons = tuple(_reason(line, outcomes.get(line.key)) for line in lines if line.gate)
    held = tuple(reason for reason in reasons if reason)
    left = texts(None)
    return Standing(
        answered=len(lines) - len(left),
        failing=texts(FAILED),
        skipped=texts(SKIPPED),
        open_lines=left,
        gate_open=not held,
        reasons=held,
        hurried_s=_hurried(list_key, [row.at for row in answers.values()]) if not left else None,
    )


def _reason(line: Line, outcome: str | None) -> str:
    if outcome == DONE:
        return ""
    return f"{line.text}: {OUTCOMES[outcome] if outcome else 'not answered yet'}"


def _hurried(list_key: str, moments: Sequence[datetime]) -> float | None:
    if not moments:
        return None
    took_s = (max(moments) - min(moments)).total_seconds()
    return took_s if took_s < LISTS[list_key].least_s else None


def answer_faults(line: Line, outcome: str, words: str) -> dict[str, str]:
    """What is wrong with the outcome and its words; what was to be written down is read elsewhere."""
    found = text_faults("words", "it", words, LONGEST_WORDS)
    if outcome not in OUTCOMES:
        return {"outcome": "Say done, not right, or left out"}
    if outcome == SKIPPED and line.gate:
        found["words"] = "This line cannot be left out: answer it, or say that it is not right"
    elif outcome == SKIPPED and len(WORD.findall(words)) < 2:
        found["words"] = "Say in two words at least why it is left out"
    return found


def list_faults(list_key: str, lines: Sequence[Line], reason: str) -> dict[str, str]:
    """What a new version of a list gets wrong, `lines.3.text` → what to do."""
    found = text_faults("reason", "the reason", reason, LONGEST_WORDS)
    if not reason.strip():
        found["reason"] = "Enter why the list is altered"
    if not 1 <= len(lines) <= MOST_LINES:
        found["lines"] = f"Keep a list within 1 to {MOST_LINES} lines"
    keys = [line.key for line in lines]
    for number, line in enumerate(lines):
        here = dict(_line_faults(list_key, line))
        if line.key in keys[:number]:
            here["text"] = "Two lines have the same key"
        found |= {f"lines.{number}.{name}": text for name, text in here.items()}
    return found


def _line_faults(list_key: str, line: Line) -> Iterable[tuple[str, str]]:
    yield from text_faults("text", "the line", line.text, LONGEST_TEXT).items()
    yield from text_faults("why", "the reason", line.why, LONGEST_TEXT).items()
    if not line.text.strip():
        yield "text", "Enter what is to be done"
    if not line.why.strip():
        yield "why", "Enter the reason: a line without one is not read"
    if not KEY.fullmatch(line.key):
        yield "text", "This line has lost its key; load the page again"
    if line.record not in RECORDS:
        yield "record", "Choose what is written down"
    if line.each not in EACH:
        yield "each", "Choose how often the line stands there"
    if line.gate and line.key not in GATES.get(list_key, ()):
        yield "gate", "This line reminds and holds nothing back; only those of the program's own may"
    yield from _record_faults(line)


def _record_faults(line: Line) -> Iterable[tuple[str, str]]:
    if line.record == NUMBER:
        try:
            unit_named(line.unit)
        except BadNumber as problem:
            yield "unit", f"{problem}; leave it empty for a plain number"
    if line.low is not None and line.high is not None and line.low > line.high:
        yield "low", "The least lies above the most"
    if line.of is not None and not 0 <= line.of <= 1000:
        yield "of", "Enter a whole number up to 1000"
    if line.record != TORQUE and (line.stated_N_m is not None or line.thread):
        yield "thread", "Thread and stated torque belong to a line that asks a torque"
