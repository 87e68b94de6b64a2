"""What a cooldown may be and what follows from its entries. Pure: no database, no request, no clock."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from server.cooldowns import entry_kinds
from server.cooldowns.entry_kinds import BASE, KINDS, MARK, PRESSURE, RISE, VENTED, WARM, Asked
from server.cooldowns.models import Cooldown, CooldownEntry
from server.cryostats.rules import EARLIEST_YEAR, text_faults

LONGEST_NOTE = 2000
LONGEST_PURPOSE = 200
AHEAD = timedelta(minutes=5)
PUMPING, COOLING, COLD, WARMING, OVER, CALLED_OFF = (
    "pumping",
    "cooling",
    "cold",
    "warming",
    "over",
    "called off",
)
LEVELS_PA = (100.0, 10.0, 1.0, 0.5)
"""1, 1e-1, 1e-2 and 5e-3 mbar: where pump-downs are compared (common practice, no source)."""
WARM_K = 290.0
"""Nothing is let in before everything inside is warmer (common practice, no source)."""
ROOM_SPREAD_K = 1.0
"""How far thermometers may differ at room temperature (from memory)."""
LAST = 20
FEWEST = 5
"""Fewer make no band."""


@dataclass(frozen=True)
class Usual:
    """What is usual: the median, and from five on the band that holds the middle 80 in 100."""

    median: float
    low: float | None
    high: float | None
    count: int

    def judged(self, value: float) -> str:
        """`usual`, `less than usual`, `more than usual`, or `no band yet`."""
        if self.low is None or self.high is None:
            return "no band yet"
        return "less than usual" if value < self.low else "more than usual" if value > self.high else "usual"


def usual(values: Sequence[float]) -> Usual | None:
    """Of the last values, oldest first; None of none."""
    last = list(values)[-LAST:]
    if not last:
        return None
    low, median, high = (float(end) for end in np.quantile(last, (0.1, 0.5, 0.9)))
    if len(last) < FEWEST:
        return Usual(median, None, None, len(last))
    return Usual(median, low, high, len(last))


def phase(cooldown: Cooldown, based: bool) -> str:
    """Where it is; `based` says whether a base was written down."""
    if cooldown.ended_at is not None:
        return OVER if cooldown.started_at is not None else CALLED_OFF
    if cooldown.warming_at is not None:
        return WARMING
    if cooldown.started_at is not None:
        return COLD if based else COOLING
    return PUMPING


def counting(entries: Iterable[CooldownEntry]) -> tuple[CooldownEntry, ...]:
    """The entries that still count, by the time they tell of."""
    rows = list(entries)
    gone = {row.takes_back for row in rows if row.takes_back is not None}
    kept = [row for row in rows if row.id not in gone and row.kind != entry_kinds.TAKEN_BACK]
    return tuple(sorted(kept, key=lambda row: (row.at, row.id or 0)))


def newest(entries: Iterable[CooldownEntry], kind: str) -> CooldownEntry | None:
    """The last entry of a kind, of those that count."""
    return next((row for row in reversed(counting(entries)) if row.kind == kind), None)


def data_faults(asked: Sequence[Asked], data: Mapping[str, Any], stages: Sequence[str]) -> dict[str, str]:
    """What is wrong with the fields of an entry, field → what to do."""
    found = dict.fromkeys(data.keys() - {row.name for row in asked}, "There is no such field")
    for row in asked:
        value = data.get(row.name)
        if value is None:
            if row.needed:
                found[row.name] = f"{'Choose' if row.choices else 'Enter'}: {row.label.lower()}"
            continue
        wrong = entry_kinds.value_faults(row, value)
        if not wrong and row.name.removesuffix("_K") in dict(entry_kinds.STAGES):
            wrong = _stage_fault(row.name.removesuffix("_K"), stages)
        if wrong:
            found[row.name] = wrong
    return found


def _stage_fault(stage: str, stages: Sequence[str]) -> str:
    return "" if stage in stages else f"This cryostat has no {stage}"


def entry_faults(
    kind: str, data: Mapping[str, Any], note: str, cooldown: Cooldown, stages: Sequence[str]
) -> dict[str, str]:
    """What is wrong with an entry, but for its time."""
    if kind not in KINDS:
        return {"kind": "Choose what to write down"}
    found = text_faults("note", "the words", note, LONGEST_NOTE) | data_faults(
        KINDS[kind].asked, data, stages
    )
    if KINDS[kind].worded and not note.strip():
        found["note"] = "Enter the words"
    if not found:
        found |= _kind_faults(kind, data, cooldown, stages)
    return found


def _kind_faults(
    kind: str, data: Mapping[str, Any], cooldown: Cooldown, stages: Sequence[str]
) -> dict[str, str]:
    if kind in (BASE, WARM) and not any(f"{stage}_K" in data for stage in stages):
        return {f"{stages[0]}_K": "Enter at least one temperature"}
    if kind in (MARK, BASE, entry_kinds.STEP, entry_kinds.STOPPED) and cooldown.started_at is None:
        return {"kind": "Cooling has not begun; write that down first"}
    if kind == MARK and data["stage"] not in stages:
        return {"stage": f"This cryostat has no {data['stage']}"}
    if kind == RISE and data["to_Pa"] < data["from_Pa"]:
        return {"to_Pa": "With the valve closed the pressure cannot fall; look at the two again"}
    return _gate(data, cooldown) if kind == VENTED else {}


def _gate(data: Mapping[str, Any], cooldown: Cooldown) -> dict[str, str]:
    """What must be so before letting in gas can be written down (common practice; local rules decide)."""
    found = {}
    if cooldown.warming_at is None:
        found["kind"] = "Warming has not begun; write that down first"
    if data["lowest_K"] < WARM_K:
        found["lowest_K"] = "Below 290 K nothing is let in: water and frost would go into the sample space"
    if data["relief_free"] != "yes":
        found["relief_free"] = "See that the relief is free before gas is let in"
    return found


def moment_faults(name: str, at: datetime, now: datetime, after: datetime | None = None) -> dict[str, str]:
    """A time that lies ahead, before `after`, or before there were computers."""
    if at > now + AHEAD:
        return {name: "The time lies ahead; write it down when it has come"}
    if at.year < EARLIEST_YEAR:
        return {name: f"Enter a time after {EARLIEST_YEAR}"}
    if after is not None and at < after:
        return {name: "The time lies before what was written down already; look at both"}
    return {}


def span_faults(kind: str, at: datetime, cooldown: Cooldown) -> dict[str, str]:
    """A time outside what its kind can tell of."""
    if not KINDS[kind].span:
        return {}
    begins = cooldown.started_at if kind in (MARK, BASE, entry_kinds.STEP) else cooldown.begun_at
    if begins is not None and at < begins:
        return {"at": "The time lies before this began"}
    if cooldown.ended_at is not None and at > cooldown.ended_at:
        return {"at": "The time lies after the end of this cooldown"}
    return {}


def levels_s(begun_at: datetime, entries: Iterable[CooldownEntry]) -> dict[float, float]:
    """Pressure → seconds of pumping until it was reached, between two readings on a straight line of ln p."""
    points = [
        ((row.at - begun_at).total_seconds(), float(row.data["pressure_Pa"]))
        for row in counting(entries)
        if row.kind == PRESSURE
    ]
    found = {}
    for level_Pa in LEVELS_PA:
        reached = next((pair for pair in pairwise(points) if pair[0][1] > level_Pa >= pair[1][1]), None)
        if reached:
            (early_s, above_Pa), (late_s, below_Pa) = reached
            share = math.log(above_Pa / level_Pa) / math.log(above_Pa / below_Pa)
            found[level_Pa] = early_s + share * (late_s - early_s)
    return found


def rise_Pa_s(data: Mapping[str, Any]) -> float:
    """How fast the pressure rose with the valve closed."""
    return float((data["to_Pa"] - data["from_Pa"]) / data["wait_s"])


@dataclass(frozen=True)
class Reached:
    """One mark: when a stage came to a temperature, and how long that took from the beginning of cooling."""

    stage: str
    target: str
    at: datetime
    took_s: float
    typed: bool


def marks(cooldown: Cooldown, entries: Iterable[CooldownEntry]) -> tuple[Reached, ...]:
    """The marks of a cooldown: of each stage and temperature the one written last."""
    if cooldown.started_at is None:
        return ()
    found: dict[tuple[str, str], Reached] = {}
    rows = [row for row in counting(entries) if row.kind == MARK]
    for row in sorted(rows, key=lambda row: row.id or 0):
        took_s = (row.at - cooldown.started_at).total_seconds()
        key = (row.data["stage"], row.data["target"])
        found[key] = Reached(*key, row.at, took_s, row.data.get("from") != "readings")
    return tuple(found.values())


def doubts(entries: Iterable[CooldownEntry]) -> tuple[str, ...]:
    """What is odd about the thermometers: far apart at room temperature, or in the wrong order at base."""
    rows = counting(entries)
    warm, base = newest(rows, WARM), newest(rows, BASE)
    found = []
    if warm is not None:
        values = [value for name, value in warm.data.items() if name.endswith("_K")]
        if max(values) - min(values) > ROOM_SPREAD_K:
            found.append(
                f"At room temperature the thermometers were {max(values) - min(values):.1f} K apart: "
                "look for swapped leads or a wrong curve."
            )
    if base is not None:
        found += [
            f"At base the {cold} reads colder than the {colder}, which cools it: look at both curves."
            for cold, colder in (("sample", "mount"), ("mount", "platform"), ("shield", "platform"))
            if _below(base.data, cold, colder)
        ]
    return tuple(found)


def _below(data: Mapping[str, Any], one: str, other: str) -> bool:
    here, there = data.get(f"{one}_K"), data.get(f"{other}_K")
    return here is not None and there is not None and here < there - 0.01 * there


@dataclass(frozen=True)
class Go:
    """An entered pressure against the number of this cryostat."""

    pressure_Pa: float
    limit_Pa: float | None

    @property
    def verdict(self) -> str:
        """`go`, `no-go`, or `no number`."""
        if self.limit_Pa is None:
            return "no number"
        return "go" if self.pressure_Pa <= self.limit_Pa else "no-go"


@dataclass(frozen=True)
class Beginning:
    """What somebody enters to begin cooling; `despite` is why, where the number says no."""

    pressure_Pa: float | None
    at: datetime | None = None
    despite: str = ""
    note: str = ""
    faults: Mapping[str, str] = field(default_factory=dict)


def go_faults(wish: Beginning, limit_Pa: float | None) -> dict[str, str]:
    """Cooling is not written down without a pressure, nor above the number without a reason."""
    found = dict(wish.faults)
    if "pressure_Pa" in found:
        return found
    if wish.pressure_Pa is None:
        return found | {"pressure_Pa": "Enter the pressure: nobody begins to cool without having read it"}
    wrong = entry_kinds.value_faults(KINDS[PRESSURE].asked[0], wish.pressure_Pa)
    if wrong:
        return found | {"pressure_Pa": wrong}
    found |= text_faults("despite", "the reason", wish.despite, LONGEST_NOTE)
    found |= text_faults("note", "the note", wish.note, LONGEST_NOTE)
    if Go(wish.pressure_Pa, limit_Pa).verdict == "no-go" and not wish.despite.strip():
        found["despite"] = "The pressure is above this cryostat's number. Pump on, or enter why cooling began"
    return found
