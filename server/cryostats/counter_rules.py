"""What is counted of a cryostat, and how readings add up. Pure.

A counter is told by its entries in the order of time. A reading is the total less what went before this
meter; another meter carries the total on from what it showed when it was fitted; what is counted adds one.
Nothing of this is stored as a sum, so a late or corrected entry puts all later totals right by itself.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from server.cryostats.counter_models import CounterEntry
from server.cryostats.rules import EARLIEST_YEAR, LONGEST_NOTE, text_faults
from server.web.moments import day

READ, REPLACED, COUNTED = "reading", "replaced", "counted"
HOURS, NUMBER = "h", ""
MOST = 1e7
"""More than a thousand years of hours: beyond it somebody mistook a digit."""
SPARE_H, SPARE_SHARE = 2.0, 0.02
"""A meter's clock and a person's may differ: two hours and two in a hundred (common practice, no source)."""


@dataclass(frozen=True)
class Counter:
    """One thing that is counted; `unit` is `h`, or nothing for a plain number."""

    label: str
    unit: str
    describes: str

    @property
    def metered(self) -> bool:
        """True where a meter of its own shows it; else the program counts."""
        return self.unit == HOURS


COUNTERS = {
    "cooler_hours": Counter("Cooler", HOURS, "Running hours of the cold head: seals, valve, motor."),
    "compressor_hours": Counter(
        "Compressor", HOURS, "Its own hours meter, read or photographed: adsorber, oil, filters."
    ),
    "pump_hours": Counter("Backing pump", HOURS, "Tip seals or diaphragm, oil, exhaust filter."),
    "turbo_hours": Counter("Turbo pump", HOURS, "Bearings."),
    "cooldowns": Counter(
        "Cooldowns", NUMBER, "Counted with every cooldown; enter what was before this book."
    ),
    "openings": Counter("Openings", NUMBER, "Counted with every opening; enter what was before this book."),
}
"""What the intervals of maintenance count: running hours by part, cooldowns, openings (common practice)."""


@dataclass(frozen=True)
class Reading:
    """One standing entry with what it makes the counter come to."""

    entry: CounterEntry
    total: float
    offset: float
    """What went before this meter."""


def standing(entries: Sequence[CounterEntry]) -> list[CounterEntry]:
    """The entries that no other corrects, in the order of time."""
    corrected = {row.corrects for row in entries}
    kept = [row for row in entries if row.id is None or row.id not in corrected]
    return sorted(kept, key=lambda row: (row.at, math.inf if row.id is None else row.id))


def walked(entries: Sequence[CounterEntry]) -> list[Reading]:
    """The standing entries in the order of time, with their totals."""
    found, total, offset = [], 0.0, 0.0
    for row in standing(entries):
        if row.kind == COUNTED:
            total += row.shown
        else:
            offset = total - row.began if row.kind == REPLACED else offset
            total = row.shown + offset
        found.append(Reading(row, total, offset))
    return found


def faults(new: CounterEntry, entries: Sequence[CounterEntry], now: datetime, zone: str) -> dict[str, str]:
    """What is wrong with a typed entry among those that stand already: field → what to do about it."""
    found = text_faults("note", "the note", new.note, LONGEST_NOTE)
    found |= _number_faults(new) | _time_faults(new, now)
    return found or _order_faults(new, entries, zone)


def _number_faults(new: CounterEntry) -> dict[str, str]:
    found = {}
    counter = COUNTERS[new.counter]
    if not (math.isfinite(new.shown) and 0 <= new.shown <= MOST):
        found["value"] = f"Enter a number from 0 to {MOST:.0f}"
    elif not counter.metered and new.shown != int(new.shown):
        found["value"] = "Enter a whole number such as 143"
    if new.kind == REPLACED and not counter.metered:
        found["replaced"] = f"{counter.label} are counted here and have no meter to replace"
    elif not found and not (math.isfinite(new.began) and 0 <= new.began <= new.shown):
        found["began"] = "What the meter showed when it was fitted lies between 0 and what it shows"
    return found


def _time_faults(new: CounterEntry, now: datetime) -> dict[str, str]:
    if new.at > now + timedelta(minutes=5):
        return {"at": "The time lies ahead; enter a reading when it is read"}
    return {"at": f"Enter a time after {EARLIEST_YEAR}"} if new.at.year < EARLIEST_YEAR else {}


def _order_faults(new: CounterEntry, entries: Sequence[CounterEntry], zone: str) -> dict[str, str]:
    """What its neighbours in time say against it: a counter does not fall, nor run faster than the clock."""
    rows = walked([*entries, new])
    here = next(number for number, row in enumerate(rows) if row.entry is new)
    read_after = [row for row in rows[here + 1 :] if row.entry.kind != COUNTED]
    if new.kind == REPLACED and new.corrects is None and read_after:
        return {"at": "A later reading stands already; enter the other meter after it, or correct that one"}
    before, after = rows[here - 1] if here else None, read_after[0] if read_after else None
    if before is not None and rows[here].total < before.total:
        return {"value": _fell(new, before, zone)}
    if after is not None and after.total < rows[here].total:
        when = day(after.entry.at, zone)
        return {"value": f"It showed {after.entry.shown:g} later, on {when}: check the digits and the day"}
    last = next((row for row in reversed(rows[:here]) if row.entry.kind != COUNTED), None)
    return _pace_faults(rows[here], last, zone) if last else {}


def _fell(new: CounterEntry, before: Reading, zone: str) -> str:
    counter = COUNTERS[new.counter]
    stood = before.total - before.offset
    line = f"It stood at {stood:g} {counter.unit}".strip() + f" on {day(before.entry.at, zone)}; "
    if counter.metered:
        return line + "check the digits, say that the meter was replaced, or correct the earlier reading"
    return line + "check the digits, or correct the earlier entry"


def _pace_faults(new: Reading, last: Reading, zone: str) -> dict[str, str]:
    passed_h = (new.entry.at - last.entry.at).total_seconds() / 3600
    ran_h = new.total - last.total
    if not COUNTERS[new.entry.counter].metered or ran_h <= passed_h * (1 + SPARE_SHARE) + SPARE_H:
        return {}
    since = day(last.entry.at, zone)
    return {"value": f"That is {ran_h:.0f} h more than on {since}, {passed_h:.0f} h ago: check the digits"}
