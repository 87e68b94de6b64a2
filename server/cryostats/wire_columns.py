"""The columns of a wire list: what each is called, in which unit, and where in an element it stands."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from server.cryostats.rules import STAGES
from server.physics import thermal
from server.physics.thermal.fields import described
from server.units import BadNumber, unit_named

Meta = Mapping[str, Any]
Path = tuple[str, ...]
KINDS = tuple(kind for kind, info in thermal.KINDS.items() if info.dataclass is thermal.Run)
BOOK = ("key", "label", "kind", "note", "house", "part")
GAUGE: Path = ("field", "diameter_m", "gauge")
FIELDS = {
    "material": "material",
    "count": "count",
    "diameter_m": "diameter [mm]",
    "ends_on": "ends on",
    "current_A": "current [mA]",
    "width_m": "trace width [mm]",
    "thickness_m": "trace thickness [µm]",
    "traces": "traces",
    "ground_plane": "ground plane",
    "backing": "backing",
    "backing_width_m": "ribbon width [mm]",
    "backing_thickness_m": "backing thickness [µm]",
    "centre_material": "centre metal",
    "dielectric": "dielectric",
    "dielectric_ratio": "dielectric ratio",
    "centre_ratio": "centre ratio",
    "rf_power_W": "signal power [mW]",
}
"""Field of a run → the head of its column, for every field that is one value."""
ALWAYS = ("material", "count", "diameter_m", "ends_on", "current_A")
LAG_PARTS = {"state": "", "length_m": " length [mm]", "filler": " filler", "held": " held"}
ATTENUATOR_PARTS = {"stage": "", "attenuation_dB": " loss [dB]"}
CROSSINGS = tuple(f"{hot}-{cold}" for hot, cold in combinations(STAGES, 2))
HEAD = re.compile(r"(.*?)\s*(?:[\[(]\s*([^\])]*?)\s*[\])])?")
LAG = re.compile(r"lag ([a-z]+)(?: ([1-9][0-9]?))?(?: (length|filler|held))?")
ATTENUATOR = re.compile(r"attenuator ([1-9][0-9]?)(?: (loss))?")


@dataclass(frozen=True)
class Column:
    """One column. `path` says where its cells go; `unit` is the unit of a number without one of its own."""

    head: str
    path: Path
    unit: str = ""

    @property
    def meta(self) -> Meta:
        """What describes the value; empty for what only the book keeps."""
        if self.path[0] == "book":
            return {}
        if self.path[0] == "lag":
            return described(thermal.Lag)[self.path[3]]
        if self.path[0] == "attenuator":
            return described(thermal.Attenuator)[self.path[2]]
        return described(thermal.Run)[self.path[1]]

    @property
    def figures(self) -> bool:
        """True where the cells are numbers."""
        return self.path[0] != "book" and self.meta["type"] in ("quantity", "lengths", "count")


def book(name: str) -> Column:
    """A column of what the book keeps."""
    return Column(name, ("book", name))


def field(name: str) -> Column:
    """A column of one field."""
    return _made(FIELDS[name], ("field", name))


def gauge() -> Column:
    """The diameter once more, for whole gauges."""
    return Column("gauge [AWG]", GAUGE, "AWG")


def length(crossing: str) -> Column:
    """A column of the lengths of one crossing."""
    return Column(f"{crossing} [mm]", ("length", "lengths_m", crossing), "mm")


def lag(stage: str, number: int) -> list[Column]:
    """The columns of the first, second … lag at a stage."""
    name = f"lag {stage}" if number == 1 else f"lag {stage} {number}"
    return [_made(name + words, ("lag", stage, str(number), part)) for part, words in LAG_PARTS.items()]


def attenuator(number: int) -> list[Column]:
    """The columns of the first, second … attenuator."""
    name = f"attenuator {number}"
    return [
        _made(name + words, ("attenuator", str(number), part)) for part, words in ATTENUATOR_PARTS.items()
    ]


def _made(head: str, path: Path) -> Column:
    unit = HEAD.fullmatch(head)
    return Column(head, path, (unit[2] or "") if unit and unit[2] != "dB" else "")


def named(head: str) -> Column:
    """The column somebody calls `head`. BadNumber, with what to do, for no such column or a wrong unit."""
    parts = HEAD.fullmatch(" ".join(head.replace("_", " ").replace("–", "-").split()))
    assert parts is not None
    name, unit = parts[1].lower(), parts[2] or ""
    column = _by_name(name)
    if column is None:
        raise BadNumber(f"There is no column “{head}”")
    if not unit or unit == "dB":
        return Column(head, column.path, column.unit)
    return Column(head, column.path, _unit(head, unit, column))


def _unit(head: str, unit: str, column: Column) -> str:
    wanted = unit_named(column.unit)
    found = unit_named(unit)
    if not column.figures or found.suffix != wanted.suffix:
        raise BadNumber(f"“{unit}” is no unit for the column “{head}”")
    return found.symbol


def _by_name(name: str) -> Column | None:
    if name in BOOK:
        return book(name)
    if name in ("gauge", "awg"):
        return gauge()
    found = {_bare(head): key for key, head in FIELDS.items()}.get(name)
    if found:
        return field(found)
    if name in CROSSINGS:
        return length(name)
    return _row_column(name)


def _row_column(name: str) -> Column | None:
    """A column of a lag or an attenuator."""
    found = LAG.fullmatch(name)
    if found and found[1] in STAGES[1:]:
        return _part(lag(found[1], int(found[2] or 1)), found[3] or "")
    found = ATTENUATOR.fullmatch(name)
    return _part(attenuator(int(found[1])), found[2] or "") if found else None


def _part(columns: Iterable[Column], word: str) -> Column:
    wanted = {"": 0, "length": 1, "filler": 2, "held": 3, "loss": 1}[word]
    return list(columns)[wanted]


def _bare(head: str) -> str:
    parts = HEAD.fullmatch(head)
    return parts[1] if parts else head


def asked_in(columns: Iterable[Column], path: str) -> str:
    """The head of the column behind a fault's path: `lengths_m.vessel-shield` → `vessel-shield [mm]`."""
    by_path = {".".join(column.path[1:]): column.head for column in columns}
    return by_path.get(path, path)
