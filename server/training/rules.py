"""What is gone through for each grade, and when a grade lapses. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from server.cryostats.rules import EARLIEST_YEAR, GRADES, text_faults

LASTS = timedelta(days=183)
"""Without hands on it for so long a grade lapses (published by user facilities; six months here)."""
EARLY = timedelta(days=30)
"""So long before that, it is said."""
LAPSING_FROM = 2
"""Grades that need hands: whoever only watches or runs a cold instrument does not lapse."""
LONGEST = 2000


@dataclass(frozen=True)
class Line:
    """One step of a plan; `grade` is the lowest that needs it."""

    key: str
    grade: int
    words: str
    record: str


LINES = (
    Line("room", 1, "Walk the room: ways out, oxygen alarm, valves, stop buttons, phone", "both names"),
    Line(
        "nitrogen", 1, "Say back why nitrogen is dangerous, and that nobody goes in after a colleague", "said"
    ),
    Line("four", 1, "Shield, platform, mount, sample: what each thermometer measures", "answers"),
    Line("fault", 1, "How a fault is reported: the problem, not the person", "said"),
    Line("night", 1, "Night card, gone through on a phone", "minutes"),
    Line("inductions", 1, "Local inductions: laser, lifting, solvents, electricity", "dates"),
    Line(
        "curves",
        2,
        "Read a pump-down and a cooldown: find the leak, find the cooler low on helium",
        "cooldowns",
    ),
    Line("lags", 2, "Find every lag in a real opening; lift one and say what would follow", "opening"),
    Line("torque", 2, "Torque by feel on a dummy block; springs the right way up", "dummy block"),
    Line("grease", 2, "Vacuum grease and thermal grease: how thin is thin", "looked at"),
    Line("watched", 2, "Watched one whole opening and cooldown", "numbers"),
    Line("under-hand", 2, "Did one with somebody's hand beside", "numbers"),
    Line(
        "planted",
        2,
        "Found what was planted: a loose lag, a spring upside down, something that touches",
        "what",
    ),
    Line("warming", 2, "Warmed up and vented with somebody beside, the purge stopped in time", "cooldown"),
    Line("alone", 2, "Did one alone, somebody in the room", "numbers"),
    Line("bench", 3, "Filled in a configuration from a bench of parts; left the reel without label", "draft"),
    Line("sheet", 3, "One heat budget of their own, approved", "draft"),
    Line("lag-photographs", 3, "A photograph of each lag they made", "photographs"),
    Line("tasks", 4, "The service tasks allowed to them, by name, each done under hand", "names"),
)
"""The plan of a newcomer (common practice, no source)."""
PLANTED = "planted"
ACCOMPANIED = "accompanied"
"""What brings a lapsed grade back: one opening with somebody beside."""


def plan(grade: int) -> tuple[Line, ...]:
    """What is gone through for a grade, that of the lower ones included."""
    return tuple(row for row in LINES if row.grade <= grade)


def lapses_at(signed_at: datetime, hands_on: datetime | None) -> datetime:
    """When a grade lapses: six months after hands were on it last, or after it was given."""
    return (max(signed_at, hands_on) if hands_on else signed_at) + LASTS


def missing(grade: int, passed: Sequence[str]) -> tuple[Line, ...]:
    """Which lines of the plan nobody has seen yet."""
    return tuple(row for row in plan(grade) if row.key not in passed)


def entry_faults(
    key: str, evidence: str, trainer: str, done_on: date | None, today: date, learner: str
) -> dict[str, str]:
    """What is wrong with a line of evidence."""
    found = text_faults("evidence", "what showed it", evidence, LONGEST)
    found |= text_faults("trainer", "the name", trainer, 200)
    if key not in {row.key for row in LINES} | {ACCOMPANIED}:
        found["line"] = "Choose a line of the plan"
    if not evidence.strip():
        found["evidence"] = "Enter what showed it: numbers, answers, what was found"
    if not trainer.strip() or trainer.strip() == learner:
        found["trainer"] = "Enter who was beside; nobody is their own trainer"
    if done_on is None:
        found["done_on"] = "Enter the day, such as 2026-03-14"
    elif done_on > today or done_on.year < EARLIEST_YEAR:
        found["done_on"] = "The day lies ahead; write it down when it has come"
    return found


def begin_faults(grade: int, mentor: str, taken: Mapping[str, str]) -> dict[str, str]:
    """What is wrong with beginning."""
    found = dict(taken) | text_faults("mentor", "the mentor", mentor, 200)
    if grade not in GRADES or grade == 0:
        found["grade"] = "Choose grade 1 to 4"
    if not mentor.strip():
        found["mentor"] = "Enter who is their mentor"
    return found
