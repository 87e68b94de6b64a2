"""Whom to call tonight, what the numbers of a cryostat say, what a night's record must hold. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from server.cooldowns.entry_kinds import LIMITS
from server.cryostats.rules import text_faults
from server.physics import thermal

LONGEST = 1000
LONGEST_NAME = 80
MOST_CONTACTS = 12
DONTS = 3
NOON_H = 12
MAY = {"decide": "decides", "restart": "may start it again, by the rule", "look": "looks, and calls on"}
ITSELF = {
    "may": "It may start without warning. Keep hands out.",
    "will-not": "It will not start by itself.",
    "not-recorded": "Nobody has written down whether it starts by itself. Treat it as if it could.",
}
USUAL_DONTS = (
    "Do not open the nitrogen valve.",
    "Do not open the chamber.",
    "Do not touch a helium coupling or a setting of the compressor.",
)
"""What stands on the card until the steward has written others (common practice, no source)."""
CAUTIONS = ("S01", "S02", "S15", "S16")


@dataclass(frozen=True)
class Numbers:
    """What a steward enters of one cryostat. None: not said."""

    go_Pa: float | None = None
    restart_Pa: float | None = None
    longest_stop_s: float | None = None
    restarts_itself: str = "not-recorded"
    decides: str = ""
    donts: tuple[str, ...] = USUAL_DONTS
    words: str = ""


def number_faults(numbers: Numbers) -> dict[str, str]:
    """What cannot be, field → what to do."""
    found = text_faults("words", "the words", numbers.words, LONGEST)
    found |= text_faults("decides", "the name", numbers.decides, LONGEST_NAME)
    for name in ("go_Pa", "restart_Pa", "longest_stop_s"):
        value = getattr(numbers, name)
        if value is not None and not 0.0 < value <= LIMITS["s" if name.endswith("_s") else "Pa"][1]:
            found[name] = "Enter a number above nothing, or leave it empty"
    if numbers.restarts_itself not in ITSELF:
        found["restarts_itself"] = "Choose whether it starts by itself"
    for number, text in enumerate(numbers.donts):
        found |= text_faults(f"dont.{number}", "the line", text, 200)
    if len([text for text in numbers.donts if text.strip()]) != DONTS:
        found["dont.0"] = "Three lines, no more and no fewer: what nobody does at night"
    return found


@dataclass(frozen=True)
class Contact:
    """Somebody to call. `nights` are digits of the weekdays on whose evening theirs begins, Monday 0."""

    name: str
    phone: str
    may: str = "look"
    after_min: int = 0
    nights: str = "0123456"
    instead_of: str = ""

    @property
    def may_words(self) -> str:
        """What this person may do."""
        return MAY[self.may]

    @property
    def dialled(self) -> str:
        """The number as a telephone takes it."""
        return "".join(sign for sign in self.phone if sign.isdigit() or sign == "+")


def contact_of(row: Mapping[str, Any]) -> Contact:
    """A contact as it is stored."""
    return Contact(**{name: row[name] for name in ("name", "phone", "may", "after_min", "nights")})


def contact_faults(contacts: Sequence[Contact]) -> dict[str, str]:
    """What cannot be, `contact.2.phone` → what to do."""
    found: dict[str, str] = {}
    if len(contacts) > MOST_CONTACTS:
        found["contact.0.name"] = f"At most {MOST_CONTACTS} contacts"
    for number, row in enumerate(contacts):
        here = f"contact.{number}."
        found |= person_faults(here, row.name, row.phone)
        if row.may not in MAY:
            found[f"{here}may"] = "Choose what this person may do"
        if not 0 <= row.after_min <= 720:
            found[f"{here}after_min"] = "Enter minutes from 0 to 720"
        if not row.nights or set(row.nights) - set("0123456"):
            found[f"{here}nights"] = "Choose at least one night"
    names = [row.name.strip().casefold() for row in contacts]
    for number, name in enumerate(names):
        if name and name in names[:number]:
            found.setdefault(f"contact.{number}.name", "This name stands there already")
    return found


def person_faults(here: str, name: str, phone: str) -> dict[str, str]:
    """A name and a telephone that can be called."""
    found = text_faults(f"{here}name", "the name", name, LONGEST_NAME)
    found |= text_faults(f"{here}phone", "the number", phone, LONGEST_NAME)
    if not name.strip():
        found[f"{here}name"] = "Enter a name"
    if sum(sign.isdigit() for sign in phone) < 2:
        found[f"{here}phone"] = "Enter a telephone number"
    return found


def night_of(now: datetime, zone: str) -> date:
    """The day on whose evening this night began: a night lasts from noon to noon."""
    return (now.astimezone(ZoneInfo(zone)) - timedelta(hours=NOON_H)).date()


def tonight(
    contacts: Sequence[Contact], swaps: Sequence[tuple[str, str, str]], night: date
) -> tuple[Contact, ...]:
    """Who is called, in order; `swaps` are (instead of, name, phone), the newest last."""
    taken = {instead_of: (name, phone) for instead_of, name, phone in swaps}
    on = [row for row in contacts if str(night.weekday()) in row.nights]
    return tuple(
        replace(row, name=taken[row.name][0], phone=taken[row.name][1], instead_of=row.name)
        if row.name in taken
        else row
        for row in on
    )


@dataclass(frozen=True)
class Gas:
    """What comes off cold surfaces between two temperatures."""

    low_K: float
    high_K: float
    words: str


def gas_by_temperature() -> tuple[Gas, ...]:
    """What comes off while it warms, coldest first, from what the gases themselves are known by.

    The ends are those of `thermal.gas_named`: from about 1e-6 to about 1e-2 Pa of vapour (from memory). What
    sits on charcoal or in a getter comes later and over a wider range.
    """
    names = {
        "hydrogen": "Hydrogen, and helium held by charcoal",
        "neon": "Neon, where there was any",
        "air": "Air: nitrogen, oxygen, argon. Most of the burst",
        "water": "Water",
    }
    found = []
    for name, words in names.items():
        ends = thermal.gas_named(name).freezes_K
        if ends is not None:
            found.append(Gas(*ends, words))
    return tuple(sorted(found, key=lambda row: row.low_K))


@dataclass(frozen=True)
class Rule:
    """The restart rule held against what is known now: reasons not to, never a permission."""

    numbers: Numbers | None
    lines: tuple[str, ...]
    against: tuple[str, ...]
    unknown: tuple[str, ...] = field(default=())


def held_against(numbers: Numbers | None, pressure_Pa: float | None, stopped_s: float | None) -> Rule:
    """What the rule says to a pressure and a length of stop; what is not known counts as unknown."""
    if numbers is None or (numbers.restart_Pa is None and numbers.longest_stop_s is None):
        return Rule(numbers, (), ("No restart rule is written for this cryostat: nobody starts it again.",))
    lines, against, unknown = [], [], []
    for limit, value, line, over, what in (
        (
            numbers.restart_Pa,
            pressure_Pa,
            "the pressure is above {}",
            "The pressure is above the rule's.",
            "the pressure",
        ),
        (
            numbers.longest_stop_s,
            stopped_s,
            "it has stood for more than {}",
            "It has stood longer than the rule's.",
            "how long it has stood",
        ),
    ):
        if limit is None:
            continue
        lines.append(line)
        if value is None:
            unknown.append(what)
        elif value > limit:
            against.append(over)
    return Rule(numbers, tuple(lines), tuple(against), tuple(unknown))


@dataclass(frozen=True)
class Seen:
    """What somebody writes down in the night."""

    seen: str
    seen_at: datetime | None = None
    stopped_at: datetime | None = None
    pressure_Pa: float | None = None
    called: str = ""
    left: str = ""
    faults: Mapping[str, str] = field(default_factory=dict)


def seen_faults(wish: Seen) -> dict[str, str]:
    """What cannot be, but for the times."""
    found = dict(wish.faults)
    for name, what in (("seen", "what was seen"), ("called", "who was called"), ("left", "how it was left")):
        found |= text_faults(name, what, getattr(wish, name), LONGEST)
    if not wish.seen.strip():
        found.setdefault("seen", "Enter what you see: two words will do")
    pressure_Pa = wish.pressure_Pa
    if pressure_Pa is not None and not 0.0 < pressure_Pa <= LIMITS["Pa"][1]:
        found["pressure_Pa"] = "The pressure cannot be that; look at the unit"
    return found
