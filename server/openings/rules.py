"""Where a slip stands, what an entry may say, and what follows from the entries. Pure."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median, quantiles
from typing import Any

from server.cryostats.rules import KEY, moment_faults, text_faults
from server.openings import kinds
from server.openings.models import Opening, OpeningEntry

WORD = re.compile(r"\w{2,}")
LONGEST_TEXT = 2000
LONGEST_LINE = 200
WARM_K = 290.0
"""Below it water freezes out, and hands stay away (common practice, no source)."""
DEFICIENT = 0.195
"""Air with less oxygen counts as deficient (29 CFR 1910.134, definitions)."""
FEWEST = 5
MOST_PIECES = 10_000


@dataclass(frozen=True)
class Fact:
    """What an opening did, for whoever counts from it.

    `kind` is such as `ring-greased`; `subject` the tag of a part, or words.
    """

    kind: str
    subject: str
    at: datetime
    opening_id: int


@dataclass(frozen=True)
class Usual:
    """How many seconds a phase usually takes: the median, and from five on the middle 80 in 100."""

    median: float
    low: float | None
    high: float | None
    count: int


def phase(opening: Opening) -> str:
    """Where it stands."""
    if opening.closed_at is not None:
        return kinds.OVER if opening.pumped_at is not None else kinds.CLOSED
    if opening.ended_at is not None:
        return kinds.OFF
    if opening.parked_at is not None:
        return kinds.PARKED
    if opening.opened_at is not None:
        return kinds.IS_OPEN
    return kinds.VENTED if opening.vented_at is not None else kinds.BEGUN


def counting(entries: Sequence[OpeningEntry]) -> list[OpeningEntry]:
    """The entries nobody has taken back, without those that take back."""
    gone = {row.takes_back for row in entries}
    return [row for row in entries if row.id not in gone and row.kind != kinds.TAKEN_BACK]


def last(entries: Iterable[OpeningEntry], kind: str) -> OpeningEntry | None:
    """The newest of a kind among entries in order."""
    found = [row for row in entries if row.kind == kind]
    return found[-1] if found else None


def open_s(opening: Opening, entries: Sequence[OpeningEntry], until: datetime) -> float:
    """How long gas or air was inside up to `until`, without the time under the blank lid."""
    begin = opening.vented_at or opening.opened_at
    if begin is None:
        return 0.0
    total, since = 0.0, begin
    closed = False
    for row in entries:
        if row.kind == kinds.PARK:
            total, closed = total + (row.at - since).total_seconds(), True
        elif row.kind == kinds.AGAIN:
            since, closed = row.at, False
    return total if closed else total + (until - since).total_seconds()


def newest_moment(opening: Opening, entries: Sequence[OpeningEntry]) -> datetime:
    """The latest of the steps that moved it on; no later step comes before it."""
    moved = (row.at for row in entries if row.kind in kinds.KINDS and kinds.KINDS[row.kind].step)
    return max((opening.begun_at, *moved))


def time_faults(at: datetime, now: datetime, earliest: datetime | None = None) -> dict[str, str]:
    """A time that cannot be, under `at`."""
    wrong = moment_faults(at, now)
    found = {"at": next(iter(wrong.values()))} if wrong else {}
    if not found and earliest is not None and at < earliest:
        found["at"] = "Enter a time after the step before"
    return found


def why_faults(why: str) -> dict[str, str]:
    """What the reason of an opening gets wrong."""
    if not why.strip():
        return {"why": "Enter why it is opened"}
    return text_faults("why", "the reason", why, LONGEST_LINE)


def entry_faults(kind: str, data: Mapping[str, Any], note: str) -> dict[str, str]:
    """What an entry gets wrong, field → what to do."""
    found = text_faults("note", "the note", note, LONGEST_TEXT)
    check = CHECKS.get(kind)
    found |= check(data, note) if check else {}
    unknown = set(data) - set(FIELDS.get(kind, ()))
    return found | dict.fromkeys(sorted(unknown), "There is no such field here")


def _vent(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    found = _choice(data, "gas", kinds.GASES, "Choose what was let in")
    if not _within(data.get("coldest_K"), 0.0, 400.0):
        found["coldest_K"] = "Read every thermometer and enter the lowest, such as 294 K"
    elif data["coldest_K"] < WARM_K:
        found["coldest_K"] = f"Everything inside is above {WARM_K:.0f} K before gas is let in; wait"
    if data.get("relief_free") is not True:
        found["relief_free"] = "Look at the relief, and say that it is free"
    return found | _oxygen(data, "")


def _oxygen(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    if _within(data.get("oxygen"), 0.0, 1.0):
        return {}
    return {"oxygen": "Read the oxygen display from outside and enter it, such as 20.9"}


def _ring(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    return _seal(data, kinds.RING_DONE)


def _window(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    return _seal(data, kinds.WINDOW_DONE)


def _seal(data: Mapping[str, Any], done: Mapping[str, str]) -> dict[str, str]:
    found = _choice(data, "done", tuple(done), "Choose what was done")
    found |= _line(data, "where", "Enter the flange, or where it is")
    for name in ("part", "new_part"):
        tag = data.get(name, "")
        if tag and not (isinstance(tag, str) and KEY.fullmatch(tag)):
            found[name] = "Enter the tag of a part, or nothing"
    return found


def _screws(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    found = _line(data, "where", "Enter which screws")
    if data.get("driver"):
        found |= _line(data, "driver", "Enter the driver's mark")
    torque = data.get("torque_N_m")
    if torque is not None and not _within(torque, 0.001, 200.0):
        found["torque_N_m"] = "Enter a torque such as 0.56 N·m or 5 in·lbf"
    return found


def _tray(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    return {
        name: f"Enter how many went {name}, such as 12"
        for name in ("out", "in")
        if not (type(data.get(name)) is int and 0 <= data[name] <= MOST_PIECES)
    }


def _note_needed(_data: Mapping[str, Any], note: str) -> dict[str, str]:
    return {} if note.strip() else {"note": "Enter what there is to say"}


def _park(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    return {
        name: f"Not parked yet without this: {words[:1].lower()}{words[1:]}"
        for name, words in kinds.PARKING.items()
        if data.get(name) is not True
    }


def _close(data: Mapping[str, Any], _note: str) -> dict[str, str]:
    found = {}
    humidity = data.get("humidity")
    if humidity is not None and not _within(humidity, 0.0, 1.0):
        found["humidity"] = "Enter the humidity of the room between 0 and 100 %"
    if not isinstance(data.get("source_closed", True), bool):
        found["source_closed"] = "Say yes or nothing"
    if data.get("list_words"):
        found |= _line(data, "list_words", "Enter why it is left out")
    return found


def _choice(data: Mapping[str, Any], name: str, among: Sequence[str], words: str) -> dict[str, str]:
    return {} if data.get(name) in among else {name: words}


def _line(data: Mapping[str, Any], name: str, words: str) -> dict[str, str]:
    text = data.get(name)
    if not isinstance(text, str) or not text.strip():
        return {name: words}
    return text_faults(name, "it", text, LONGEST_LINE)


def _within(value: Any, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high


CHECKS = {
    kinds.VENT: _vent,
    kinds.OXYGEN: _oxygen,
    kinds.RING: _ring,
    kinds.WINDOW: _window,
    kinds.SCREWS: _screws,
    kinds.TRAY: _tray,
    kinds.NOTE: _note_needed,
    kinds.CALLED_OFF: _note_needed,
    kinds.PARK: _park,
    kinds.CLOSE: _close,
}
SEAL_FIELDS = ("where", "part", "new_part", "done")
FIELDS: Mapping[str, Sequence[str]] = {
    kinds.VENT: ("gas", "oxygen", "coldest_K", "relief_free"),
    kinds.OXYGEN: ("oxygen",),
    kinds.RING: SEAL_FIELDS,
    kinds.WINDOW: SEAL_FIELDS,
    kinds.SCREWS: ("where", "torque_N_m", "driver"),
    kinds.TRAY: ("out", "in"),
    kinds.USED: ("amounts",),
    kinds.PARK: tuple(kinds.PARKING),
    kinds.CLOSE: ("humidity", "list_words", "source_closed"),
}
"""Kind → the fields of its data."""


def words_enough(text: str) -> bool:
    """Two words at least."""
    return len(WORD.findall(text)) >= 2


def tray_words(entries: Sequence[OpeningEntry]) -> str:
    """Why the parts counted hold closing back, or nothing."""
    tray = last(entries, kinds.TRAY)
    if tray is None:
        return "Count the parts in and out first"
    if tray.data["out"] != tray.data["in"] and not words_enough(tray.note):
        return f"{tray.data['out']} out and {tray.data['in']} in: count again, or say why in the note there"
    return ""


def facts_of(opening_id: int, entry: OpeningEntry) -> list[Fact]:
    """What an entry says to those who count from it."""
    names = {
        kinds.VENT: ("vented", ""),
        kinds.LID_OFF: ("opened", ""),
        kinds.CLOSE: ("closed", ""),
        kinds.SCREWS: ("screws-tightened", str(entry.data.get("where", ""))),
    }
    if entry.kind in (kinds.RING, kinds.WINDOW):
        subject = str(entry.data.get("part") or entry.data["where"])
        return [Fact(f"{entry.kind}-{entry.data['done']}", subject, entry.at, opening_id)]
    if entry.kind not in names:
        return []
    kind, subject = names[entry.kind]
    return [Fact(kind, subject, entry.at, opening_id)]


FACT_KINDS = (kinds.VENT, kinds.LID_OFF, kinds.CLOSE, kinds.SCREWS, kinds.RING, kinds.WINDOW)


def took(opening: Opening) -> dict[str, float]:
    """Phase → how many seconds it took, where both ends are known."""
    ends = {
        "vent": (opening.vented_at, opening.opened_at),
        "refit": (opening.opened_at, opening.built_at),
        "close": (opening.built_at, opening.closed_at),
        "pump": (opening.closed_at, opening.pumped_at),
    }
    return {
        name: (end - begin).total_seconds()
        for name, (begin, end) in ends.items()
        if begin is not None and end is not None and end > begin
    }


def usual(values: Sequence[float]) -> Usual | None:
    """Of the last values; None of none."""
    if not values:
        return None
    if len(values) < FEWEST:
        return Usual(median(values), None, None, len(values))
    tenths = quantiles(values, n=10, method="inclusive")
    return Usual(median(values), tenths[0], tenths[-1], len(values))
