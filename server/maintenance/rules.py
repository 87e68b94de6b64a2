"""When a task is due and what an entry about it may say. Pure: no database, no request, no clock."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from server.cryostats.counter_rules import COUNTERS, MOST
from server.cryostats.rules import EARLIEST_YEAR, text_faults
from server.physics.statistics import Band, time_to_count_s, time_to_limit_s

DAY_S = 86400.0
DAYS, CONDITION = "days", "condition"
TRIGGERS = {DAYS: ("Calendar", "d")} | {key: (row.label, row.unit) for key, row in COUNTERS.items()}
"""What may make a task due → its label and unit."""
KINDS = {
    "service": "service",
    "seal": "seals and joints",
    "check": "check or measurement",
    "certificate": "certificate or statutory examination",
    "visit": "visit of an engineer from outside",
    "drill": "rehearsal or drill",
}
DONE, SEEN, DEFERRED, RETURNED = "done", "seen", "deferred", "returned"
ENTRIES = {DONE: "done", SEEN: "seen to be due", DEFERRED: "put off", RETURNED: "back in service"}
WINDOW = timedelta(weeks=8)
"""Use is told from this much of the past."""
SOON = timedelta(weeks=4)
"""So long before, a task is shown as due soon, lead times apart (common practice, no source)."""
LONGEST_TEXT, LONGEST_LINE = 4000, 200
LONGEST_LEAD_DAYS = 1000
FARTHEST_DAYS = 36500.0
RETURN, OVERDUE, SOON_DUE, LATER, NO_DATE = "return", "overdue", "soon", "later", "no-date"
STATES = {
    RETURN: "waits for its measurement",
    OVERDUE: "due now",
    SOON_DUE: "due soon",
    LATER: "later",
    NO_DATE: "no date can be told",
}
ORDER = tuple(STATES)


@dataclass(frozen=True)
class Use:
    """What is known of one counter now: its total, its late readings, or how often it was counted lately."""

    total: float = 0.0
    days: tuple[float, ...] = ()
    """When it was read in the last weeks, in days before now, rising to at most zero."""
    readings: tuple[float, ...] = ()
    counted: int = 0


@dataclass(frozen=True)
class Dates:
    """From when to when something is expected; an end nobody can tell is None."""

    earliest: datetime | None
    likely: datetime | None
    latest: datetime | None

    @property
    def first(self) -> datetime | None:
        """The moment to plan by: the likely one, else the earliest."""
        return self.likely or self.earliest


@dataclass(frozen=True)
class Fired:
    """One trigger of a task: how far it is, and when it is expected to fire."""

    trigger: str
    dates: Dates
    left: float | None
    why: str

    @property
    def now(self) -> bool:
        """True when it has fired."""
        return self.left is not None and self.left <= 0.0


@dataclass(frozen=True)
class Done:
    """What was done: the clocks it sets back, and what was written down of it."""

    at: datetime
    text: str
    resets: tuple[str, ...]
    found: Mapping[str, str] = field(default_factory=dict)
    """`serial_out`, `serial_in`, `engineer`, `certificate`: words."""
    hours: float | None = None
    helium_Pa: float | None = None
    used: Mapping[str, float] = field(default_factory=dict)
    """Key of an item → how much of it was used."""


def mark_of(marks: Mapping[str, Any], trigger: str) -> dict[str, Any]:
    """Where one clock stands: `from` (a moment or a total), `limit` (put off to), `times` (put off)."""
    found: dict[str, Any] = marks.get(trigger, {})
    return found


def limit_of(limits: Mapping[str, float], marks: Mapping[str, Any], trigger: str) -> float:
    """At which total, or which moment in seconds, a trigger fires; what it was put off to counts."""
    mark = mark_of(marks, trigger)
    if mark.get("limit") is not None:
        return float(mark["limit"])
    scale = DAY_S if trigger == DAYS else 1.0
    return float(mark["from"]) + scale * limits[trigger]


def triggers(
    limits: Mapping[str, float], marks: Mapping[str, Any], uses: Mapping[str, Use], now: datetime
) -> list[Fired]:
    """Every trigger of a task, the first to fire first; one that has no date comes last."""
    found = [_fired(trigger, limits, marks, uses, now) for trigger in limits]
    if marks.get(CONDITION):
        found.append(_condition(mark_of(marks, CONDITION), now))
    return sorted(found, key=lambda row: row.dates.first or datetime.max.replace(tzinfo=UTC))


def _fired(
    trigger: str,
    limits: Mapping[str, float],
    marks: Mapping[str, Any],
    uses: Mapping[str, Use],
    now: datetime,
) -> Fired:
    limit = limit_of(limits, marks, trigger)
    if trigger == DAYS:
        at = datetime.fromtimestamp(limit, UTC)
        left = (at - now).total_seconds() / DAY_S
        return Fired(trigger, Dates(at, at, at), left, f"every {limits[trigger]:g} days")
    use = uses.get(trigger, Use())
    label, unit = TRIGGERS[trigger]
    stood = use.total - float(mark_of(marks, trigger)["from"])
    why = f"{label.lower()}: {stood:,.0f} of {stood + limit - use.total:,.0f} {unit}".rstrip().replace(
        ",", " "
    )
    return Fired(trigger, _dates(_band(use, trigger, limit), use, now), limit - use.total, why)


def _band(use: Use, trigger: str, limit: float) -> Band | None:
    if COUNTERS[trigger].metered:
        if use.total >= limit:
            return Band.exact(0.0)
        return time_to_limit_s([DAY_S * day for day in use.days], use.readings, limit)
    return time_to_count_s(use.counted, WINDOW.total_seconds(), limit - use.total)


def _dates(band: Band | None, use: Use, now: datetime) -> Dates:
    """From days after the last reading to moments; none before now."""
    if band is None:
        return Dates(None, None, None)
    last = use.days[-1] if use.days else 0.0
    ends = [
        _moment(None if end is None else end / DAY_S, last, now) for end in (band.low, band.best, band.high)
    ]
    return Dates(*ends)


def _moment(days: float | None, last: float, now: datetime) -> datetime | None:
    if days is None or days > FARTHEST_DAYS:
        return None
    return now + timedelta(days=max(days + last if days else 0.0, 0.0))


def _condition(mark: Mapping[str, Any], now: datetime) -> Fired:
    at = datetime.fromtimestamp(float(mark.get("limit") or mark["from"]), UTC)
    left = (at - now).total_seconds() / DAY_S
    return Fired(CONDITION, Dates(at, at, at), left, f"seen: {mark['words']}")


def state(first: Fired | None, marks: Mapping[str, Any], order_days: float, now: datetime) -> str:
    """Where a task stands; `order_days` is the longest lead time of what it needs and does not have."""
    if marks.get(RETURN):
        return RETURN
    if first is None or (not first.now and first.dates.first is None):
        return NO_DATE
    if first.now:
        return OVERDUE
    begins = first.dates.earliest or first.dates.likely
    assert begins is not None
    return SOON_DUE if begins <= now + SOON + timedelta(days=order_days) else LATER


def limit_faults(limits: Mapping[str, float], condition: str) -> dict[str, str]:
    """What is wrong with the triggers of a task."""
    found = text_faults("condition", "the condition", condition, LONGEST_LINE)
    if not limits and not condition.strip():
        found["limit_days"] = "Enter at least one thing that makes it due"
    for key, value in limits.items():
        if key not in TRIGGERS:
            found[f"limit_{key}"] = "There is no such counter"
        elif not (math.isfinite(value) and 0 < value <= (FARTHEST_DAYS if key == DAYS else MOST)):
            found[f"limit_{key}"] = "Enter a number above 0, such as 365"
    return found


def done_faults(done: Done, known: Sequence[str], now: datetime, since: datetime | None) -> dict[str, str]:
    """What is wrong with an event; `known` are the clocks the task has, `since` its last event."""
    found = text_faults("text", "what was done", done.text, LONGEST_TEXT)
    if not done.text.strip():
        found["text"] = "Enter what was done"
    found |= moment_faults(done.at, now, since)
    if not done.resets or set(done.resets) - set(known):
        found["resets"] = "Tick what was changed: its clocks begin anew, the others run on"
    for name, words in done.found.items():
        found |= text_faults(name, "it", words, LONGEST_LINE)
    for name, value, most in (("hours", done.hours, 10_000.0), ("helium", done.helium_Pa, 1e8)):
        if value is not None and not (math.isfinite(value) and 0 <= value <= most):
            found[name] = "Enter a number of 0 or more"
    return found


def moment_faults(at: datetime, now: datetime, since: datetime | None = None) -> dict[str, str]:
    """A time that lies ahead, or before what it must follow."""
    if at > now + timedelta(minutes=5):
        return {"at": "The time lies ahead; write it down when it has come"}
    if at.year < EARLIEST_YEAR:
        return {"at": f"Enter a time after {EARLIEST_YEAR}"}
    if since is not None and at < since:
        return {"at": "The time lies before what was done last; look at both"}
    return {}


def defer_faults(
    reason: str, new: float | None, stood: float, reached: float, seen: int, times: int
) -> dict[str, str]:
    """What is wrong with putting off: it needs a reason and a later limit, and knows how often it was before.

    `new` and `stood` are limits, `reached` is where the clock stands; `seen` is how many times the person
    says it was put off before, `times` how many it was.
    """
    found = text_faults("reason", "the reason", reason, LONGEST_TEXT)
    if not reason.strip():
        found["reason"] = "Enter why it can wait"
    if new is None or not math.isfinite(new):
        found["limit"] = "Enter up to when, or up to which reading, it can wait"
    elif new <= max(stood, reached):
        found["limit"] = "The new limit must lie beyond the old one, and ahead"
    if seen != times:
        found["times"] = f"It was put off {times} times already; say so"
    return found


def returned_faults(within_K: float, reference_K: float, base_K: float | None, stage: str) -> dict[str, str]:
    """What a measurement says against using the cryostat again."""
    if base_K is None:
        return {"cooldown": f"This cooldown has no base of the {stage} yet, settled and with the heater off"}
    if abs(base_K - reference_K) > within_K:
        off = f"{base_K:.2f} K is not within {within_K:g} K of {reference_K:.2f} K"
        return {"cooldown": f"The {stage} came to {off}: not back in service"}
    return {}
