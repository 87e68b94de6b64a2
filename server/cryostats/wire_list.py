"""The runs of a configuration as a table in the trade's units; `wire_reading` brings one back, nothing lost.

An empty cell is the default, `?` is unknown, `0.2 to 0.4` a range, `0.3 (0.2 to 0.4)` a value with its range.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from server.cryostats import wire_columns
from server.cryostats.forms import UNKNOWN
from server.cryostats.rules import STAGES, Put
from server.cryostats.wire_columns import GAUGE, Column
from server.physics.materials import awg_diameter_m
from server.units import show, unit_named
from server.web import tabular
from server.web.tabular import Figure, Style


def runs(puts: Iterable[Put]) -> list[Put]:
    """Those a wire list can hold."""
    return [put for put in puts if put.kind in wire_columns.KINDS]


def canonical(put: Put) -> Put:
    """The same run, written in the one way a list can give it back.

    Lags stand in the order of the stages and say their stage and state; a range has two ends or three; what
    is empty is left out.
    """
    data = {name: _canonical(value) for name, value in put.data.items() if value not in ([], {})}
    if "lags" in data:
        rows = [{"stage": "shield", "state": "not-recorded"} | row for row in data["lags"]]
        data["lags"] = sorted(rows, key=lambda row: order(row["stage"]))
    if "attenuators" in data:
        data["attenuators"] = [{"stage": "platform"} | row for row in data["attenuators"]]
    return replace(put, data=data)


def order(stage: Any) -> int:
    """Where a stage stands from the vessel inwards; what is none stands last."""
    return STAGES.index(stage) if stage in STAGES else len(STAGES)


def _canonical(value: Any) -> Any:
    if isinstance(value, dict):
        if set(value) == {"low", "best", "high"}:
            return [value["low"], value["high"]] if value["best"] is None else dict(value)
        return {name: _canonical(part) for name, part in value.items()}
    return [_canonical(part) for part in value] if isinstance(value, list) else value


def write(puts: Sequence[Put], stages: Sequence[str], style: Style) -> str:
    """The wire list of these elements; what is no run is left out."""
    rows = [canonical(put) for put in runs(puts)]
    columns = _columns(rows, stages)
    return tabular.written(
        [column.head for column in columns],
        [[_cell(put, column) for column in columns] for put in rows],
        style,
    )


def _columns(rows: Sequence[Put], stages: Sequence[str]) -> list[Column]:
    """The usual columns, and whatever else one of the runs needs."""
    used = {name for put in rows for name in put.data}
    neighbours = {f"{hot}-{cold}" for hot, cold in pairwise(stages)}
    crossings = neighbours | {crossing for put in rows for crossing in put.data.get("lengths_m", {})}
    columns = [wire_columns.book(name) for name in ("key", "label", "kind")]
    columns += [wire_columns.field("material"), wire_columns.field("count"), wire_columns.gauge()]
    columns += [wire_columns.field("diameter_m")]
    columns += [wire_columns.length(name) for name in wire_columns.CROSSINGS if name in crossings]
    for stage in STAGES[1:]:
        most = max((_lags_at(put, stage) for put in rows), default=0)
        for number in range(1, max(most, int(stage in stages)) + 1):
            columns += wire_columns.lag(stage, number)
    columns += [wire_columns.field("ends_on"), wire_columns.field("current_A")]
    rest = [name for name in wire_columns.FIELDS if name in used and name not in wire_columns.ALWAYS]
    columns += [wire_columns.field(name) for name in rest]
    attenuators = max((len(put.data.get("attenuators", ())) for put in rows), default=0)
    for number in range(1, attenuators + 1):
        columns += wire_columns.attenuator(number)
    told = ("part", "house", "note") if any(put.part for put in rows) else ("house", "note")
    return [*columns, *(wire_columns.book(name) for name in told)]


def _lags_at(put: Put, stage: str) -> int:
    return sum(row["stage"] == stage for row in put.data.get("lags", ()))


MISSING = object()


def _cell(put: Put, column: Column) -> str:
    if column.path[0] == "book":
        value = getattr(put, column.path[1])
        return ("yes" if value else "") if isinstance(value, bool) else str(value)
    value = _value(put.data, column.path)
    if value is MISSING:
        return ""
    if column.path[:2] == ("field", "diameter_m") and (_gauge(value) is None) == (column.path == GAUGE):
        return ""
    if column.path == GAUGE:
        return Figure(_gauge(value))
    return _text(value, column)


def _value(data: Mapping[str, Any], path: wire_columns.Path) -> Any:
    """What stands at the place of a column, or MISSING."""
    if path[0] == "field":
        return data.get(path[1], MISSING)
    if path[0] == "length":
        return data.get("lengths_m", {}).get(path[2], MISSING)
    if path[0] == "lag":
        rows = [row for row in data.get("lags", ()) if row["stage"] == path[1]]
        number, part = int(path[2]), path[3]
    else:
        rows, number, part = data.get("attenuators", ()), int(path[1]), path[2]
    return rows[number - 1].get(part, MISSING) if number <= len(rows) else MISSING


def _gauge(value: Any) -> str | None:
    """The gauge of exactly this diameter, if it is one."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    text = show(float(value), "AWG")
    gauge = text.removeprefix("AWG ")
    return gauge if text != gauge and float(awg_diameter_m(int(gauge))) == value else None


def _text(value: Any, column: Column) -> str:
    kind = column.meta["type"]
    if kind == "count":
        return Figure(value)
    if kind not in ("quantity", "lengths"):
        return UNKNOWN if value is None else str(value)
    if value is None:
        return Figure("?")
    if isinstance(value, list):
        return Figure(f"{_number(value[0], column)} to {_number(value[1], column)}")
    if isinstance(value, dict):
        best, low, high = (_number(value[end], column) for end in ("best", "low", "high"))
        return Figure(f"{best} ({low} to {high})")
    return Figure(_number(value, column))


def _number(value: float, column: Column) -> str:
    """In the unit of the column, in as many digits as bring the same number back."""
    return show(float(value), column.unit).removesuffix(unit_named(column.unit).shown).strip()
