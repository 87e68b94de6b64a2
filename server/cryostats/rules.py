"""What a change may be, and what it does to a set of elements. Pure: no database, no request, no clock."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from server.web.texts import NOT_TEXT

KEY = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?")
SLUG = re.compile(r"[a-z0-9-]{1,60}")
RESERVED = ("new",)
"""Addresses under /cryostats that are pages of their own."""
STATES = {
    "open": "open",
    "pumping": "closed, pumping",
    "cooling": "cooling",
    "cold": "cold",
    "warming": "warming",
    "hold": "hold",
    "parked": "parked",
}
GRADES = {0: "watch", 1: "operate", 2: "open", 3: "rewire", 4: "service"}
OPERATE, OPEN, REWIRE = 1, 2, 3
STEWARD = 5
MISSING = object()
"""Stands for a field nobody answered, which is not the same as one answered with unknown."""
STAGES = ("vessel", "shield", "platform", "mount", "sample")
MOST_ELEMENTS = 2000
LONGEST_REASON = 2000
LONGEST_LABEL = 80
LONGEST_NOTE = 2000
EARLIEST_YEAR = 1970


@dataclass(frozen=True)
class Put:
    """An element as somebody wants it: a key known alters, a new one adds. `data` is SI, as in a document."""

    key: str
    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)
    label: str = ""
    note: str = ""
    house: bool = False
    part: str = ""

    @property
    def title(self) -> str:
        """What a page calls it."""
        return self.label or self.key


@dataclass(frozen=True)
class Change:
    """One step from `base_revision`: what is put, what is removed, why, and when it was done."""

    reason: str
    base_revision: int
    put: tuple[Put, ...] = ()
    remove: tuple[str, ...] = ()
    done_at: datetime | None = None


@dataclass(frozen=True)
class Altered:
    """An element that stayed under its key and changed; `fields` maps a name to (before, after)."""

    before: Put
    after: Put
    fields: Mapping[str, tuple[Any, Any]]


@dataclass(frozen=True)
class Difference:
    """What lies between two configurations."""

    added: tuple[Put, ...] = ()
    taken: tuple[Put, ...] = ()
    altered: tuple[Altered, ...] = ()

    @property
    def empty(self) -> bool:
        """True when the two are the same."""
        return not (self.added or self.taken or self.altered)

    @property
    def words(self) -> str:
        """`2 added, 1 taken out, 1 altered`."""
        parts = ((self.added, "added"), (self.taken, "taken out"), (self.altered, "altered"))
        return ", ".join(f"{len(rows)} {word}" for rows, word in parts if rows) or "no difference"


def faults(change: Change, present: Mapping[str, Put], now: datetime) -> dict[str, str]:
    """What the change itself gets wrong, field → what to do; the elements' own fields are read elsewhere."""
    found = text_faults("reason", "the reason", change.reason, LONGEST_REASON)
    if not change.reason.strip():
        found["reason"] = "Enter the reason for the change"
    if not change.put and not change.remove:
        found["put"] = "Put or take out at least one element"
    if change.done_at is not None:
        found |= moment_faults(change.done_at, now)
    for number, put in enumerate(change.put):
        found |= book_faults(put, f"put.{number}.")
    found |= key_faults(change, present)
    if len(applied(present, change)) > MOST_ELEMENTS:
        found["put"] = f"A configuration holds at most {MOST_ELEMENTS} elements"
    return found


SHUTTERS = ("lid", "window")
"""What no change takes out: a lid is on or off, a window in or out, and neither is implied."""


def shutter_faults(change: Change, present: Mapping[str, Put]) -> dict[str, str]:
    """Lids and windows that a change would make vanish: their state is said on every configuration."""
    found = {}
    for number, key in enumerate(change.remove):
        if key in present and present[key].kind in SHUTTERS:
            found[f"remove.{number}"] = _stays(present[key])
    for number, put in enumerate(change.put):
        before = present.get(put.key)
        if before is not None and before.kind in SHUTTERS and put.kind != before.kind:
            found[f"put.{number}.kind"] = _stays(before)
    return found


def _stays(put: Put) -> str:
    off = "off" if put.kind == "lid" else "out"
    return f"{put.title} is a {put.kind}, which is not taken out but altered: put it with its state “{off}”"


def moment_faults(done_at: datetime, now: datetime) -> dict[str, str]:
    """A time at which no change can have been made."""
    if done_at > now + timedelta(minutes=5):
        return {"done_at": "The time it was done lies ahead; log a change when it is made"}
    if done_at.year < EARLIEST_YEAR:
        return {"done_at": f"Enter a time after {EARLIEST_YEAR}"}
    return {}


def book_faults(put: Put, path: str) -> dict[str, str]:
    """What is wrong with the words a book keeps beside an element."""
    return text_faults(f"{path}label", "the name", put.label, LONGEST_LABEL) | text_faults(
        f"{path}note", "the note", put.note, LONGEST_NOTE
    )


def text_faults(path: str, what: str, text: str, longest: int) -> dict[str, str]:
    """A text that is too long, or holds what no text holds."""
    if len(text) > longest:
        return {path: f"Keep {what} within {longest} characters"}
    if NOT_TEXT.search(text):
        return {path: f"Write {what} without control characters"}
    return {}


def key_faults(change: Change, present: Mapping[str, Put]) -> dict[str, str]:
    """Keys that cannot be: unreadable, twice there, put and removed at once, or not there to be removed."""
    found = {}
    keys = [put.key for put in change.put]
    for number, key in enumerate(keys):
        if not KEY.fullmatch(key):
            found[f"put.{number}.key"] = "A key has 1 to 40 small letters, digits and inner hyphens"
        elif key in change.remove:
            found[f"put.{number}.key"] = f"“{key}” is both put and removed; choose one"
        elif key in keys[:number]:
            found[f"put.{number}.key"] = f"“{key}” is put twice in one change"
    for number, key in enumerate(change.remove):
        if key not in present:
            found[f"remove.{number}"] = f"There is no element “{key}” to take out"
        elif key in change.remove[:number]:
            found[f"remove.{number}"] = f"“{key}” is taken out twice"
    return found


def applied(present: Mapping[str, Put], change: Change) -> dict[str, Put]:
    """The elements after the change, in their order, new ones last."""
    after = {key: put for key, put in present.items() if key not in change.remove}
    after.update((put.key, put) for put in change.put)
    return after


def difference(before: Mapping[str, Put], after: Mapping[str, Put]) -> Difference:
    """What changed from one configuration to another, by key."""
    both = [(before[key], after[key]) for key in after if key in before and before[key] != after[key]]
    return Difference(
        added=tuple(put for key, put in after.items() if key not in before),
        taken=tuple(put for key, put in before.items() if key not in after),
        altered=tuple(Altered(old, new, _altered_fields(old, new)) for old, new in both),
    )


def _altered_fields(before: Put, after: Put) -> dict[str, tuple[Any, Any]]:
    old, new = _flat(before), _flat(after)
    names = list(dict.fromkeys([*old, *new]))
    pairs = {name: (old.get(name, MISSING), new.get(name, MISSING)) for name in names}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


def _flat(put: Put) -> dict[str, Any]:
    about = {"kind": put.kind, "label": put.label, "note": put.note, "house": put.house, "part": put.part}
    return about | dict(put.data)


def puts_of(diff: Difference) -> tuple[Put, ...]:
    """The puts that make the later configuration out of the earlier one."""
    return (*diff.added, *(row.after for row in diff.altered))


def restoring(present: Mapping[str, Put], wanted: Mapping[str, Put], reason: str, base: int) -> Change:
    """The change that makes `present` into `wanted`."""
    diff = difference(present, wanted)
    return Change(reason, base, puts_of(diff), tuple(put.key for put in diff.taken))


STATE_FIELDS = {"state", "bore_diameter_m", "bore_glass", "material"}
SEEN_WHEN_OPEN = {"lid", "window", "joint", "touch", "mass", "gas", "source"}


def needed_grade(change: Change, present: Mapping[str, Put]) -> int:
    """The grade a change asks for.

    Whoever may open may say what they did to lid, windows, joints and what touches; wires, ribbons, coax and
    the like are rewiring; house elements are entered by the steward (common practice, no source).
    """
    grades = [_grade_of(put, present.get(put.key)) for put in change.put]
    grades += [_grade_of(None, present.get(key)) for key in change.remove]
    return max(grades, default=OPEN)


def _grade_of(after: Put | None, before: Put | None) -> int:
    kinds = {put.kind for put in (after, before) if put is not None}
    if any(put is not None and put.house for put in (after, before)):
        return OPEN if _only_state(after, before) else STEWARD
    return OPEN if kinds <= SEEN_WHEN_OPEN else REWIRE


def _only_state(after: Put | None, before: Put | None) -> bool:
    if after is None or before is None or after.kind not in SEEN_WHEN_OPEN or after.kind != before.kind:
        return False
    return set(_altered_fields(before, after)) <= STATE_FIELDS | {"note"}


def slug_of(name: str, taken: Iterable[str]) -> str:
    """An address for `name` that nobody has yet: `Bench A` → `bench-a`."""
    stem = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:38] or "cryostat"
    used = {*taken, *RESERVED}
    tries = (stem if number == 1 else f"{stem}-{number}" for number in range(1, len(used) + 2))
    return next(slug for slug in tries if slug not in used)


CAUTIONS = {
    "window": ("S04", "S11"),
    "lid": ("S07", "S05"),
    "source": ("S08", "S09"),
    "heater-leads": ("S09", "S12"),
    "wire": ("S12",),
    "ribbon": ("S12",),
    "coax": ("S12",),
    "thermometer-leads": ("S12",),
    "joint": ("S11",),
    "gas": ("S01",),
}
"""The safety cards whose moment is the fitting of such an element; local rules and the steward decide."""


def caution_codes(kind: str, typed: Mapping[str, str]) -> tuple[str, ...]:
    """Codes of the cards to show beside the form of an element, from its kind and what is typed so far."""
    codes = list(CAUTIONS.get(kind, ()))
    words = " ".join(typed.values()).lower()
    if "beryllium" in words:
        codes.append("S10")
    if "positioner" in words or "high voltage" in words:
        codes.append("S09")
    if "varnish" in words:
        codes.append("S11")
    return tuple(dict.fromkeys(codes))
