"""The form of a cooler: points of a heater test or of a two-stage map, typed in the trade's units."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.cryostats.models import Cryostat
from server.errors import Refused
from server.physics.statistics import Band
from server.units import BadNumber, in_unit, parse_quantity, show
from server.web.forms import Form

ROWS = 12
TEST = (("heated", "Heated stage", ""), ("added_W", "Added heat", "mW"))
LIFT = (("shield_W", "First stage lifts", "W"), ("platform_W", "Second stage lifts", "W"))
READS = (("shield_K", "Shield", "K"), ("platform_K", "Platform", "K"))
COLUMNS = {"heater-test": (*TEST, *READS), "map": (*LIFT, *READS)}
SUFFIX = {"mW": "W", "kW": "W"}
Cell = tuple[str, str, str]


@dataclass(frozen=True)
class CoolerForm:
    """What the page shows in the form: rows of (name, label, value) cells for each kind."""

    kind: str
    columns: Mapping[str, Sequence[tuple[str, str, str]]]
    rows: Mapping[str, Sequence[Sequence[Cell]]]
    bare_revision: str
    bare_K: Mapping[str, str]
    link: str
    input: str
    ageing: Mapping[str, str]
    note: str


def shown(form: Form | None, cryostat: Cryostat, last: Mapping[str, Any] | None) -> CoolerForm:
    """The form as somebody typed it; else with the points of the last version, to be altered."""
    typed = form or Form(_texts(last) if last else [])
    rows = {
        kind: [
            [
                (
                    f"{kind}.{number}.{name}",
                    f"{label}, line {number + 1}",
                    typed.text(f"{kind}.{number}.{name}"),
                )
                for name, label, _ in columns
            ]
            for number in range(ROWS)
        ]
        for kind, columns in COLUMNS.items()
    }
    return CoolerForm(
        kind=typed.text("kind") or "heater-test",
        columns=COLUMNS,
        rows=rows,
        bare_revision=typed.text("bare_revision") or (str(cryostat.revision) if form is None else ""),
        bare_K=typed.under("bare."),
        link=typed.text("link_W_K"),
        input=typed.text("input_W"),
        ageing=typed.under("ageing."),
        note=typed.text("note"),
    )


def _texts(data: Mapping[str, Any]) -> list[tuple[str, str]]:
    kind = data["kind"]
    texts = [("kind", kind)]
    for number, point in enumerate(data["points"][:ROWS]):
        for name, _, unit in COLUMNS[kind]:
            if point.get(name) is not None:
                text = point[name] if name == "heated" else show(point[name], unit)
                texts.append((f"{kind}.{number}.{name}", text))
    texts += [(f"ageing.{stage}", _plain(share)) for stage, share in data.get("ageing", {}).items()]
    texts += [("input_W", show(data["input_W"], "kW"))] if data.get("input_W") else []
    return texts


def _plain(value: Any) -> str:
    return f"{value[0]:g}–{value[1]:g}" if isinstance(value, list) else "?" if value is None else f"{value:g}"


def _with_zero(points: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One reference cooldown is the zero of both heaters: it need not be written twice."""
    heated = {point.get("heated") for point in points}
    zeros = [point for point in points if point.get("added_W") == 0.0]
    lacking = heated - {point.get("heated") for point in zeros}
    return (
        points + [{**zeros[0], "heated": stage} for stage in sorted(map(str, lacking))] if zeros else points
    )


def read(form: Form) -> dict[str, Any]:
    """The cooler as the document has it, with the bare temperatures of a map. Refused with the cell."""
    kind = form.text("kind")
    if kind not in COLUMNS:
        raise Refused("The cooler was not stored.", {"kind": "Choose a heater test or a map"})
    faults: dict[str, str] = {}
    points = [_point(form, kind, number, faults) for number in _filled(form, kind)]
    data: dict[str, Any] = {"kind": kind, "points": _with_zero(points) if kind == "heater-test" else points}
    bare_K = {
        name.removesuffix("_K"): _number(form, f"bare.{name}", "K", faults)
        for name, text in form.under("bare.").items()
        if text
    }
    if kind == "map" and form.text("link_W_K"):
        data |= {"link": "flexible", "link_W_K": _number(form, "link_W_K", "W/K", faults)}
    if kind == "map" and form.text("input_W"):
        data["input_W"] = _number(form, "input_W", "kW", faults)
    ageing = {
        name: _number(form, f"ageing.{name}", "", faults)
        for name, text in form.under("ageing.").items()
        if text
    }
    if ageing:
        data["ageing"] = ageing
    if not points:
        faults[f"{kind}.0.{COLUMNS[kind][1][0]}"] = "Enter at least one line"
    if faults:
        raise Refused("The cooler was not stored.", faults)
    return {"cooler": data, "bare_temperatures_K": bare_K if kind == "map" else {}}


def cells(form: Form, faults: Mapping[str, str]) -> dict[str, str]:
    """The document's faults at the cells of the form: `points[1].added_W` is the second line filled in."""
    kind = form.text("kind")
    lines = _filled(form, kind)
    named = {}
    for path, text in faults.items():
        found = re.fullmatch(r"points\[(\d+)\]\.(\w+)", path)
        named[f"{kind}.{lines[int(found[1])]}.{found[2]}" if found else path] = text
    return named


def _filled(form: Form, kind: str) -> list[int]:
    """Numbers of the lines in which a number stands."""
    names = [name for name, _, _ in COLUMNS.get(kind, ()) if name != "heated"]
    return [number for number in range(ROWS) if any(form.text(f"{kind}.{number}.{name}") for name in names)]


def _point(form: Form, kind: str, number: int, faults: dict[str, str]) -> dict[str, Any]:
    point: dict[str, Any] = {}
    for name, _, unit in COLUMNS[kind]:
        path = f"{kind}.{number}.{name}"
        if not form.text(path):
            continue
        point[name] = form.text(path) if name == "heated" else _number(form, path, unit, faults)
    return point


def _number(form: Form, path: str, unit: str, faults: dict[str, str]) -> Any:
    try:
        value = parse_quantity(form.text(path), SUFFIX.get(unit, unit.replace("/", "_")), unit)
    except BadNumber as bad:
        faults[path] = str(bad)
        return None
    return [value.low, value.high] if isinstance(value, Band) else value


def facts(data: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What a version says besides its points."""
    kind = "A heater test" if data["kind"] == "heater-test" else "A two-stage map"
    rows = [("What is known", kind)]
    if data.get("link") == "flexible":
        link = data.get("link_W_K")
        rows.append(("Link to the platform", "unknown" if link is None else _range(link)))
    if data.get("input_W"):
        rows.append(("Power of the compressor", in_unit(data["input_W"], "kW")))
    rows += [(f"Lift left, {stage}", _plain(share)) for stage, share in data.get("ageing", {}).items()]
    return rows


def _range(link: Any) -> str:
    return f"{link[0]}–{link[1]} W/K" if isinstance(link, list) else show(link, "W/K")


def points(data: Mapping[str, Any]) -> list[list[str]]:
    """The points as rows of texts, the head first."""
    columns = COLUMNS[data["kind"]]
    rows = [[_cell(point.get(name), unit) for name, _, unit in columns] for point in data["points"]]
    return [[label for _, label, _ in columns], *rows]


def _cell(value: Any, unit: str) -> str:
    if value is None:
        return "–"
    return value if isinstance(value, str) else in_unit(value, unit, 4)
