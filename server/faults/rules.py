"""What may be said of a fault, and what cannot be. Pure."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from server.cryostats.rules import EARLIEST_YEAR, KEY, text_faults
from server.faults.causes import CAUSES, OTHER

OPEN, LOOKED_AT, FOUND, MENDED, LEFT = "open", "looked-at", "cause-found", "mended", "left"
STATES = {
    OPEN: "open",
    LOOKED_AT: "being looked at",
    FOUND: "cause found",
    MENDED: "mended",
    LEFT: "left as it is",
}
STILL_OPEN = (OPEN, LOOKED_AT, FOUND)
"""The states in which somebody still has to do something."""
SEVERITIES = {
    "near-miss": "near miss: nothing happened, this time",
    "slight": "slight: work goes on",
    "disturbs": "disturbs: worse results, or more work",
    "stops-work": "stops work",
}
LONGEST_TEXT = 2000
LONGEST_LINE = 200
ANSWERS = {
    "text": "Enter what there is to say",
    MENDED: "Enter what was done",
    LEFT: "Enter why it is left as it is",
    OPEN: "Enter why it is open again",
}


@dataclass(frozen=True)
class Where:
    """Where it was: a place in words, a part by its tag, an element by its key; each may be nothing.

    `at` is when it was seen; None: now.
    """

    place: str = ""
    part: str = ""
    element_key: str = ""
    at: datetime | None = None


@dataclass(frozen=True)
class Step:
    """What somebody adds to a fault. An empty state leaves it where it stands."""

    text: str = ""
    state: str = ""
    cause: str = ""
    owner_login: str | None = None
    """None leaves the owner, an empty text says nobody."""


def report_faults(
    what_seen: str, where: Where, severity: str, seen_at: datetime, now: datetime
) -> dict[str, str]:
    """What a report gets wrong, field → what to do."""
    found = text_faults("what_seen", "what was seen", what_seen, LONGEST_TEXT)
    found |= text_faults("place", "the place", where.place, LONGEST_LINE)
    if not what_seen.strip():
        found["what_seen"] = "Enter what was seen"
    if severity not in SEVERITIES:
        found["severity"] = "Choose how much it disturbs"
    if seen_at > now + timedelta(minutes=5):
        found["seen_at"] = "The time lies ahead; enter when it was seen"
    elif seen_at.year < EARLIEST_YEAR:
        found["seen_at"] = f"Enter a time after {EARLIEST_YEAR}"
    if where.element_key and not KEY.fullmatch(where.element_key):
        found["element"] = "Choose an element, or none"
    return found


def step_faults(step: Step, state_now: str) -> dict[str, str]:
    """What a step gets wrong; `state_now` is where the fault stands."""
    found = text_faults("text", "it", step.text, LONGEST_TEXT)
    if step.state and step.state not in STATES:
        found["state"] = "Choose where it stands"
    if step.cause and step.cause not in CAUSES:
        found["cause"] = "Choose a cause of the list"
    elif step.state == FOUND and not step.cause:
        found["cause"] = "Choose the cause that was found"
    if not step.text.strip() and _needs_words(step, state_now):
        found["text"] = ANSWERS.get(step.state, ANSWERS["text"])
    return found


def _needs_words(step: Step, state_now: str) -> bool:
    """A step that says nothing by its state, cause or owner says it in words; some states ask for words."""
    if step.state in (MENDED, LEFT) or (step.state == OPEN and state_now not in ("", OPEN)):
        return True
    if step.cause == OTHER:
        return True
    moved = bool(step.state) and step.state != state_now
    return not (moved or step.cause or step.owner_login is not None)
