"""The numbers of the booking rules: what each means, and what holds until a steward says otherwise. Pure.

The rules are common practice, no source; the numbers are from memory, and social rather than physical: each
laboratory sets its own, with a reason.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.bookings.rules import DEFAULTS, DURATION_WORDS, Hours
from server.bookings.worktime import region_faults

LONGEST = 60
WORDS = "words"


@dataclass(frozen=True)
class Number:
    """One number of the rules; with `choices` or `unit` "words" it is a text."""

    key: str
    words: str
    default: str
    unit: str
    low: float = 0.0
    high: float = 0.0
    choices: Mapping[str, str] = field(default_factory=dict)


WARMING = {"assisted": "assisted, with the heater", "alone": "unassisted"}
RULES = (
    Number("firm_weeks", "A booking is firm up to so many weeks ahead", "8", "weeks", 1, 520),
    Number("farthest_weeks", "Nobody books further ahead than", "26", "weeks", 1, 520),
    Number("longest_days", "The longest cold window without a review", "10", "days", 0.5, 365),
    Number("approve_days", "A draft is approved so many working days before", "3", "working days", 0, 60),
    Number("quota_days", "Shares are counted over the last", "90", "days", 7, 730),
    Number("ahead_days", "A group beyond its share takes only what is free within", "5", "days", 0, 365),
    Number("training_part", "Training counts against the share as a part of", "0.5", "", 0, 1),
    Number("cancel_h", "Cancelling costs nothing up to so long before it begins", "72", "h", 0, 2000),
    Number(
        "no_show_h", "Not begun within so many working hours: offered to those who wait", "4", "h", 0.5, 100
    ),
    Number("grace_h", "An overrun needs nobody's yes for the first", "2", "h", 0, 48),
    Number("idle_h", "With nobody in it, it counts as cold for", "24", "h", 0, 2000),
    Number("shutdown_h", "No cooling begins so long before a shutdown of the building", "24", "h", 0, 500),
    Number("hands_on_months", "A grade lapses after so long without hands-on work", "6", "months", 1, 60),
    Number("warming", "How it is warmed", "assisted", WORDS, choices=WARMING),
    Number("cold_mass_kg", "Its own cold mass, as copper", "3", "kg", 0.01, 5000),
    Number("country", "Country whose public holidays are kept (two letters)", "", WORDS),
    Number("region", "Region of that country", "", WORDS),
)
HOURS = tuple(
    Number(f"hours.{key}", f"Time for {DURATION_WORDS[key]}", f"{row.best:g}", "h", 0, 500)
    for key, row in DEFAULTS.items()
)
NUMBERS = {row.key: row for row in (*RULES, *HOURS)}
ONLY_LABORATORY = ("country", "region", "quota_days", "ahead_days", "training_part")
"""What is not a matter of one cryostat."""


@dataclass(frozen=True)
class Numbers:
    """The rules in force for one cryostat: what was set, and the defaults of the rest."""

    set: Mapping[str, str] = field(default_factory=dict)

    def text(self, key: str) -> str:
        """A value as it is stored."""
        return self.set.get(key, NUMBERS[key].default)

    def value(self, key: str) -> float:
        """A value as a number."""
        return float(self.text(key))

    @property
    def durations(self) -> dict[str, Hours]:
        """The default durations, with those a steward set."""
        found = dict(DEFAULTS)
        for key, row in DEFAULTS.items():
            if f"hours.{key}" in self.set:
                best = self.value(f"hours.{key}")
                found[key] = Hours(best, min(row.low, best), max(row.high, best), "set by the steward")
        return found


def faults(key: str, value: str, scope_is_laboratory: bool, country: str = "") -> str:
    """What is wrong with a value, in one sentence; empty when nothing is."""
    number = NUMBERS.get(key)
    if number is None:
        return "There is no such number"
    if key in ONLY_LABORATORY and not scope_is_laboratory:
        return "This is set for the whole laboratory"
    if number.choices:
        return "" if value in number.choices else "Choose one of the answers"
    if number.unit == WORDS:
        typed = {"country": country, "region": "", key: value}
        return region_faults(typed["country"], typed["region"]).get(key, "")
    return _number_fault(number, value)


def _number_fault(number: Number, value: str) -> str:
    try:
        found = float(value) if len(value) < LONGEST and value.isascii() else None
    except ValueError:
        found = None
    if found is None or not number.low <= found <= number.high:
        return f"Enter a number from {number.low:g} to {number.high:g}"
    return ""
