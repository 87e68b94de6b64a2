"""What a log file holds, read as a person says: each column a time, a channel, or left out. Pure."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from server.cooldowns.blocks import Values
from server.cooldowns.channels_rules import converted, unit_of
from server.cooldowns.log_cells import CLOCK as CLOCK_TEXT
from server.cooldowns.log_cells import (
    DATE,
    GAPS,
    MOST_FAULTS,
    NUMBER,
    STAMP,
    TIMED,
    Column,
    Fault,
    Layout,
    Unreadable,
)
from server.cooldowns.log_times import MILLISECONDS_FROM, BadTime, Clock, Told, elapsed, stamps, unix
from server.units import UNITS

LEFT_OUT, STAMPS, DAY, CLOCK, UNIX, ELAPSED = "", "stamp", "date", "clock", "unix", "elapsed"
TIMES = {
    STAMPS: "day and time",
    DAY: "day alone",
    CLOCK: "clock alone",
    UNIX: "seconds since 1970",
    ELAPSED: "time since the start",
}
CHANNEL = "channel:"


@dataclass(frozen=True)
class Kept:
    """What is known of a channel here: name and the unit its readings are kept in."""

    name: str
    unit: str


@dataclass(frozen=True)
class Spec:
    """How a file is to be read. A role is a time, `channel:` with its key, or nothing; units go with them."""

    roles: tuple[str, ...]
    units: tuple[str, ...]
    zone: str = "laboratory"
    order: str = ""
    start: str = ""

    def written(self) -> dict[str, Any]:
        """As it is kept."""
        return asdict(self)

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "Spec":
        """As it was kept."""
        return cls(tuple(kept["roles"]), tuple(kept["units"]), kept["zone"], kept["order"], kept["start"])


@dataclass(frozen=True)
class Log:
    """A file as it was read: seconds since 1970 UTC of each row, values by channel in its unit."""

    seconds: Values
    values: Mapping[str, Values]
    notes: tuple[str, ...] = ()
    gaps: int = field(default=0)

    def rows(self, begin: int, end: int) -> dict[str, tuple[Values, Values]]:
        """A stretch of rows, as `readings.store` takes it."""
        return {name: (self.seconds[begin:end], values[begin:end]) for name, values in self.values.items()}


def propose(layout: Layout, channels: Mapping[int, Kept]) -> Spec:
    """What each column probably is: times by their cells, channels by their name."""
    first = layout.first(1)[0] if layout.lines else []
    by_name = {_plain(kept.name): key for key, kept in channels.items()}
    roles: list[str] = []
    for column, cell in zip(layout.columns, first, strict=False):
        time = _time_role(column, cell.strip(), roles)
        known = by_name.get(_plain(column.name))
        fits = known is not None and _fits(column.unit, channels[known].unit)
        roles.append(time or (f"{CHANNEL}{known}" if fits else LEFT_OUT))
    roles += [LEFT_OUT] * (len(layout.columns) - len(roles))
    units = [
        column.unit or _own_unit(role, channels) for column, role in zip(layout.columns, roles, strict=True)
    ]
    return Spec(tuple(roles), tuple(units))


def _plain(name: str) -> str:
    return re.sub(r"[\W_]+", "", name.casefold())


def _fits(unit: str, kept: str) -> bool:
    return not unit or UNITS[unit].suffix == UNITS[kept].suffix


def _own_unit(role: str, channels: Mapping[int, Kept]) -> str:
    if role == ELAPSED:
        return "s"
    return channels[int(role.removeprefix(CHANNEL))].unit if role.startswith(CHANNEL) else ""


def _time_role(column: Column, cell: str, before: Sequence[str]) -> str:
    """Which kind of time a column is by its first cell; nothing for none, or when there is one already."""
    if any(role in TIMES and role != DAY for role in before):
        return LEFT_OUT
    for role, pattern in ((STAMPS, STAMP), (DAY, DATE), (CLOCK, CLOCK_TEXT)):
        if re.fullmatch(pattern, cell):
            return role
    if not TIMED.search(column.name) or not re.fullmatch(NUMBER, cell):
        return LEFT_OUT
    number = float(cell.replace(",", ".").lower().replace("d", "e"))
    return UNIX if number > MILLISECONDS_FROM / 1000 else ELAPSED


def spec_faults(layout: Layout, spec: Spec, channels: Mapping[int, Kept]) -> dict[str, str]:
    """What is wrong with how the file is to be read, field → what to do."""
    found: dict[str, str] = {}
    if len(spec.roles) != len(layout.columns) or len(spec.units) != len(layout.columns):
        return {"file": "The file has other columns than were described; send it again"}
    times = sorted(role for role in spec.roles if role in TIMES)
    if times not in ([STAMPS], [CLOCK, DAY], [UNIX], [ELAPSED]):
        found["column.0"] = "Say which column is the time: one of day and time, or a day and a clock"
    if ELAPSED in times and not spec.start:
        found["start"] = "Enter when the log was begun, since its times count from there"
    for number, (role, unit) in enumerate(zip(spec.roles, spec.units, strict=True)):
        fault = _role_fault(role, unit, spec.roles[:number], channels)
        if fault:
            found[f"column.{number}"] = fault
    if not any(role.startswith(CHANNEL) for role in spec.roles):
        found.setdefault("columns", "Say of at least one column which channel it is")
    return found


def _role_fault(role: str, unit: str, before: Sequence[str], channels: Mapping[int, Kept]) -> str:
    if role == ELAPSED:
        return "" if unit in UNITS and UNITS[unit].suffix == "s" else "Enter the unit of the time, such as s"
    if role in TIMES or not role:
        return ""
    key = role.removeprefix(CHANNEL)
    if not role.startswith(CHANNEL) or not key.isdigit() or int(key) not in channels:
        return "Choose a channel of this cryostat"
    if role in before:
        return f"{channels[int(key)].name} has a column already"
    kept = channels[int(key)].unit
    found = unit_of(unit) if unit else UNITS[""]
    if found is None or found.suffix != UNITS[kept].suffix or found.factor is None:
        return f"Enter a unit that goes into {kept or 'a plain number'}; {unit or 'none'} does not"
    return ""


def read(layout: Layout, spec: Spec, channels: Mapping[int, Kept], zone: str) -> Log:
    """The whole file. Unreadable, with line and column of each cell that cannot be, and nothing is taken."""
    chosen = [number for number, role in enumerate(spec.roles) if role.startswith(CHANNEL)]
    timed = [number for number, role in enumerate(spec.roles) if role in (UNIX, ELAPSED)]
    numbers = _numbers(layout, [*chosen, *timed])
    told = _seconds(layout, spec, numbers[len(chosen) :], zone)
    values, gaps = {}, 0
    for number, column in zip(chosen, numbers, strict=False):
        kept = channels[int(spec.roles[number].removeprefix(CHANNEL))]
        unit = unit_of(spec.units[number])
        gaps += int((~np.isfinite(column)).sum())
        values[kept.name] = converted(column, unit.symbol if unit else "", kept.unit)
    return Log(told.seconds, values, told.notes, gaps)


def _seconds(layout: Layout, spec: Spec, numbers: Sequence[Values], zone: str) -> Told:
    clock = Clock("UTC" if spec.zone == "utc" else zone, spec.order)
    where = {role: number for number, role in enumerate(spec.roles) if role in TIMES}
    try:
        if UNIX in where:
            return unix(numbers[0])
        if ELAPSED in where:
            unit = UNITS[spec.units[where[ELAPSED]]]
            start = datetime.fromisoformat(spec.start)
            return elapsed(numbers[0], start, float(unit.factor or 1))
        return stamps(_texts(layout, where), clock)
    except BadTime as problem:
        column = layout.columns[min(where.values())].name
        raise Unreadable(Fault(layout.body[problem.row] + 1, column, str(problem))) from problem


def _texts(layout: Layout, where: Mapping[str, int]) -> list[str]:
    if STAMPS in where:
        return layout.cells(where[STAMPS])
    days, clocks = layout.cells(where[DAY]), layout.cells(where[CLOCK])
    return [f"{day.strip()} {at.strip()}" for day, at in zip(days, clocks, strict=True)]


def _numbers(layout: Layout, wanted: Sequence[int]) -> list[Values]:
    """The wanted columns as numbers, gaps as NaN: by numpy's own reader, cell by cell where that stumbles."""
    lines = [line.replace(",", ".") for line in layout.lines] if layout.decimal_comma else layout.lines
    try:
        table = np.loadtxt(
            lines, np.float64, comments=None, delimiter=layout.separator, usecols=wanted, ndmin=2
        )
    except ValueError:
        return _by_cell(layout, lines, wanted)
    return list(np.ascontiguousarray(table.T))


def _by_cell(layout: Layout, lines: Sequence[str], wanted: Sequence[int]) -> list[Values]:
    width, faults = len(layout.columns), []
    cells = layout.separator.join(lines).split(layout.separator)
    found = []
    for column in wanted:
        part = cells[column::width]
        try:
            values = np.fromiter(map(_cell, part), np.float64, len(part))
        except ValueError:
            faults += _cell_faults(layout, column, part, _cell)
            continue
        found.append(values)
    if faults:
        raise Unreadable(*sorted(faults)[:MOST_FAULTS])
    return found


def _cell(text: str) -> float:
    plain = text.strip()
    if plain.lower() in GAPS:
        return np.nan
    if not re.fullmatch(NUMBER, plain) or "," in plain:
        raise ValueError(plain)
    return float(plain.replace("d", "e").replace("D", "E"))


def _cell_faults(
    layout: Layout, column: int, part: Sequence[str], number: Callable[[str], float]
) -> list[Fault]:
    found = []
    for row, cell in enumerate(part):
        try:
            number(cell)
        except ValueError:
            said = f"“{cell.strip()[:40]}” is no number"
            found.append(Fault(layout.body[row] + 1, layout.columns[column].name, said))
        if len(found) >= MOST_FAULTS:
            break
    return found
