"""A wire list as it is read: with line and column for everything that is to be mended."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from server.cryostats import wire_columns
from server.cryostats.forms import UNKNOWN, key_from
from server.cryostats.rules import Put
from server.cryostats.wire_columns import Column
from server.cryostats.wire_list import canonical, order
from server.units import BadNumber, parse_quantity, suffix_of, to_si
from server.web import tabular

WITH_RANGE = re.compile(r"(.+?)\s*\((.+)\)")
FROM_TO = re.compile(r"(.+?)\s+to\s+(.+)")
YES, NO = ("yes", "true", "1", "x"), ("", "no", "false", "0")


@dataclass(frozen=True)
class Fault:
    """What is to be mended, where."""

    line: int
    column: str
    text: str


@dataclass
class Listed:
    """What a list says: the runs, the line each stands on, the columns, and what is to be mended."""

    puts: list[Put] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    columns: list[Column] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def over(listed: Listed, present: Mapping[str, Put]) -> list[Put]:
    """The runs, each on top of what is known of it: what the list has no column for stays as it is."""
    columns = [column.path for column in listed.columns]
    return [
        _over(put, canonical(present[put.key]), columns)
        if put.key in present and present[put.key].kind == put.kind
        else put
        for put in listed.puts
    ]


def _over(put: Put, old: Put, columns: Sequence[wire_columns.Path]) -> Put:
    kept = ("label", "note", "house", "part")
    about = {name: getattr(put if ("book", name) in columns else old, name) for name in kept}
    fields = {path[1] for path in columns if path[0] == "field"}
    data = {name: value for name, value in old.data.items() if name not in fields} | dict(put.data)
    lengths = {
        crossing: value
        for crossing, value in old.data.get("lengths_m", {}).items()
        if ("length", "lengths_m", crossing) not in columns
    } | put.data.get("lengths_m", {})
    stages = {path[1] for path in columns if path[0] == "lag"}
    lags = [row for row in old.data.get("lags", ()) if row["stage"] not in stages] + put.data.get("lags", [])
    if any(path[0] == "attenuator" for path in columns):
        data["attenuators"] = put.data.get("attenuators", [])
    return canonical(replace(put, data=data | {"lengths_m": lengths, "lags": lags}, **about))


def read(content: bytes) -> Listed:
    """The runs of a list. Nothing is passed over: what cannot be read is in `faults`, with its place."""
    found = Listed()
    try:
        sheet = tabular.read(tabular.decoded(content))
    except tabular.Unreadable as problem:
        found.faults.append(Fault(problem.line, "", str(problem)))
        return found
    columns = _named(sheet.head, found.faults)
    if found.faults:
        return found
    found.columns = list(columns.values())
    comma = tabular.has_decimal_comma(
        cells[index] for _, cells in sheet.rows for index, column in columns.items() if column.figures
    )
    for line, cells in sheet.rows:
        texts = {column: cells[index] for index, column in columns.items()}
        found.puts.append(_put(line, texts, comma, found.faults))
        found.lines.append(line)
    if not found.puts and not found.faults:
        found.faults.append(Fault(1, "", "There is no run under the head"))
    return found


def _named(head: Sequence[str], faults: list[Fault]) -> dict[int, Column]:
    columns: dict[int, Column] = {}
    for index, name in enumerate(head):
        try:
            column = wire_columns.named(name)
        except BadNumber as bad:
            faults.append(Fault(1, name, str(bad)))
            continue
        if any(column.path == other.path for other in columns.values()):
            faults.append(Fault(1, name, f"The column “{name}” is there twice"))
        columns[index] = column
    paths = {column.path for column in columns.values()}
    if not paths & {("book", "key"), ("book", "label")}:
        faults.append(Fault(1, "key", "A wire list needs a column “key” or “label”"))
    if ("book", "kind") not in paths:
        faults.append(Fault(1, "kind", "A wire list needs a column “kind”"))
    return columns


def _put(line: int, texts: Mapping[Column, str], comma: bool, faults: list[Fault]) -> Put:
    about: dict[str, Any] = {}
    data: dict[str, Any] = {}
    for column, text in texts.items():
        if not text.strip() and column.path[1] not in ("label", "note"):
            continue
        try:
            if column.path[0] == "book":
                about[column.path[1]] = _about(column, text)
            else:
                _place(data, column, _read(column, tabular.pointed(text) if comma else text))
        except BadNumber as bad:
            faults.append(Fault(line, column.head, str(bad)))
    if about.get("kind") not in wire_columns.KINDS:
        faults.append(Fault(line, "kind", f"Kind must be one of {', '.join(wire_columns.KINDS)}"))
    return _made(about, data)


def _about(column: Column, text: str) -> Any:
    name = column.path[1]
    if name == "house":
        word = text.strip().lower()
        if word not in YES + NO:
            raise BadNumber("Enter yes, or leave it empty")
        return word in YES
    return text.strip().lower() if name == "kind" else text.strip() if name in ("key", "part") else text


def _made(about: Mapping[str, Any], data: dict[str, Any]) -> Put:
    """The run, its lags in the order of the stages, its attenuators in the order of their numbers."""
    lags, attenuators = data.pop("lags", {}), data.pop("attenuators", {})
    if lags:
        places = sorted(lags, key=lambda place: (order(place[0]), place[1]))
        data["lags"] = [{"stage": place[0], "state": "not-recorded"} | lags[place] for place in places]
    if attenuators:
        data["attenuators"] = [{"stage": "platform"} | attenuators[number] for number in sorted(attenuators)]
    label = about.get("label", "")
    return Put(
        about.get("key") or key_from(label),
        about.get("kind", ""),
        data,
        label,
        about.get("note", ""),
        about.get("house", False),
        about.get("part", ""),
    )


def _place(data: dict[str, Any], column: Column, value: Any) -> None:
    path = column.path
    if path[0] == "field":
        if path[1] in data:
            raise BadNumber("Enter either a gauge or a diameter, not both")
        data[path[1]] = value
    elif path[0] == "length":
        data.setdefault("lengths_m", {})[path[2]] = value
    elif path[0] == "lag":
        data.setdefault("lags", {}).setdefault((path[1], int(path[2])), {})[path[3]] = value
    else:
        data.setdefault("attenuators", {}).setdefault(int(path[1]), {})[path[2]] = value


def _read(column: Column, text: str) -> Any:
    """One cell as the document has it; the document checks the ranges."""
    text, kind = text.strip(), column.meta["type"]
    if kind in ("quantity", "lengths"):
        return _quantity(
            text, suffix_of(column.path[3] if column.path[0] == "lag" else column.path[1]), column
        )
    if kind == "count":
        if not re.fullmatch(r"[0-9]{1,9}", text):
            raise BadNumber("Enter a whole number such as 24")
        return int(text)
    if kind == "material":
        return None if text in (UNKNOWN, "?") else text
    return "-".join(text.lower().split())


def _quantity(text: str, suffix: str, column: Column) -> Any:
    found = WITH_RANGE.fullmatch(text)
    if found:
        low, high = _ends(found[2], suffix, column.unit)
        return {"low": low, "best": to_si(found[1], column.unit), "high": high}
    if FROM_TO.fullmatch(text):
        return _ends(text, suffix, column.unit)
    value = parse_quantity(text, suffix, column.unit)
    return value if value is None or isinstance(value, int | float) else [value.low, value.high]


def _ends(text: str, suffix: str, unit: str) -> list[float]:
    """Both ends of a range, in the unit of the column or one of their own."""
    found = FROM_TO.fullmatch(text)
    try:
        if found is None:
            raise BadNumber("Enter a range such as 0.2 to 0.4")
        ends = [to_si(found[1], unit), to_si(found[2], unit)]
    except BadNumber:
        value = parse_quantity(text, suffix, unit)
        if value is None or isinstance(value, int | float) or value.low is None or value.high is None:
            raise
        return [value.low, value.high]
    if ends[0] > ends[1]:
        raise BadNumber("Enter the smaller end of the range first")
    return ends
