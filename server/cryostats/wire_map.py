"""The wire map: every run with its number, from where it starts to where it lands, with its lags and lengths.

Stages are drawn at even distances, whatever their temperature: this is a sheet to work from with the lid off.
Lengths are in the drawing's own units; the template draws what stands here and computes nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from server.cryostats import facts
from server.cryostats.differences import label
from server.cryostats.forms import metas
from server.cryostats.models import Cryostat, Revision
from server.cryostats.rules import STAGES, Put
from server.cryostats.wire_list import canonical, runs

WIDTH, LEFT, RIGHT = 1000.0, 96.0, 990.0
TOP, STEP, FOOT = 44.0, 84.0, 70.0
PER_PANEL = 12
WIDEST_STEP, SIGN = 200.0, 6.6
MARKS = {"good": "good", "loose": "loose", "none": "none"}


@dataclass(frozen=True)
class Text:
    """A few words in the drawing."""

    x: float
    y: float
    words: str


@dataclass(frozen=True)
class Mark:
    """A lag: `style` is good, loose, none or not-recorded."""

    y: float
    style: str


@dataclass(frozen=True)
class Wire:
    """One run in the drawing."""

    number: str
    title: str
    x: float
    top_y: float
    bottom_y: float
    marks: tuple[Mark, ...]
    lengths: tuple[Text, ...]
    foot: tuple[str, ...]


@dataclass(frozen=True)
class Panel:
    """Up to twelve runs beside each other, over the lines of the stages."""

    wires: tuple[Wire, ...]
    stages: tuple[Text, ...]
    height: float


@dataclass(frozen=True)
class Row:
    """One run in the table under the drawing."""

    number: str
    put: Put
    kind: str
    material: str
    size: str
    count: int
    lengths: tuple[str, ...]
    lags: tuple[str, ...]
    ends_on: str


@dataclass(frozen=True)
class Planned:
    """The version of a draft that a sheet shows: nothing of it is inside yet."""

    draft_id: int
    name: str
    version: int
    reason: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class WireMapView:
    """The sheet: drawing, table and what stands in the title block."""

    cryostat: Cryostat
    number: int
    revision: Revision | None
    panels: tuple[Panel, ...]
    rows: tuple[Row, ...]
    conductors: int
    drawn_at: datetime
    planned: Planned | None = None
    width: float = WIDTH
    left: float = LEFT
    right: float = RIGHT

    @property
    def of(self) -> str:
        """What the sheet is of, in words."""
        if self.planned is None:
            return f"revision {self.number}"
        return f"draft {self.planned.draft_id}, version {self.planned.version}, on revision {self.number}"

    @property
    def drawing(self) -> str:
        """Where the sheet lies as a drawing of its own."""
        if self.planned is None:
            return f"/cryostats/{self.cryostat.slug}/wire-map.svg?revision={self.number}"
        return f"/drafts/{self.planned.draft_id}/wire-map.svg"

    @property
    def height(self) -> float:
        """Of all panels, one under the other, with the title block."""
        return sum(panel.height for panel in self.panels) + 96

    @property
    def tops(self) -> tuple[float, ...]:
        """Where each panel begins."""
        return tuple(sum(panel.height for panel in self.panels[:index]) for index in range(len(self.panels)))


def sheet(
    cryostat: Cryostat,
    number: int,
    revision: Revision | None,
    elements: Mapping[str, Put],
    drawn_at: datetime,
    planned: Planned | None = None,
) -> WireMapView:
    """The wire map of a revision, or of a draft on it."""
    puts = [canonical(put) for put in runs(elements.values())]
    rows = tuple(_row(f"W{index}", put) for index, put in enumerate(puts, 1))
    parts = [rows[start : start + PER_PANEL] for start in range(0, len(rows), PER_PANEL)]
    return WireMapView(
        cryostat=cryostat,
        number=number,
        revision=revision,
        panels=tuple(_panel(part, cryostat.stages) for part in parts),
        rows=rows,
        conductors=sum(row.count * int(row.put.data.get("traces", 1)) for row in rows),
        drawn_at=drawn_at,
        planned=planned,
    )


def _row(number: str, put: Put) -> Row:
    words = [fact for name in ("lengths_m", "lags") if name in put.data for fact in _facts(put, name)]
    return Row(
        number=number,
        put=put,
        kind=label(put),
        material=_field(put, "material"),
        size=_field(put, "width_m" if put.kind == "ribbon" else "diameter_m"),
        count=int(put.data.get("count", metas(put.kind)["count"]["default"])),
        lengths=tuple(word for word in words if not word.startswith("lag ")),
        lags=tuple(word.removeprefix("lag ") for word in words if word.startswith("lag ")),
        ends_on=_ends_on(put),
    )


def _facts(put: Put, name: str) -> Iterable[str]:
    whole = facts.of(Put(put.key, put.kind, {name: put.data[name]}))
    return (f"{fact.name}: {fact.value}" for fact in whole if not fact.default)


def _field(put: Put, name: str) -> str:
    if name in put.data:
        return facts.field_words(put.kind, name, put.data[name])[1]
    return facts.default_words(put.kind, name)[1]


def _ends_on(put: Put) -> str:
    return str(put.data.get("ends_on", metas(put.kind)["ends_on"]["default"]))


def _panel(rows: Sequence[Row], stages: Sequence[str]) -> Panel:
    at = {stage: TOP + index * STEP for index, stage in enumerate(stages)}
    step = min((RIGHT - LEFT) / len(rows), WIDEST_STEP)
    wires = tuple(_wire(row, LEFT + (place + 0.5) * step, step, at) for place, row in enumerate(rows))
    return Panel(
        wires=wires,
        stages=tuple(Text(8, y, stage) for stage, y in at.items()),
        height=TOP + (len(stages) - 1) * STEP + FOOT,
    )


def _wire(row: Row, x: float, step: float, at: Mapping[str, float]) -> Wire:
    crossings = row.put.data.get("lengths_m", {})
    starts = [path.split("-")[0] for path in crossings]
    first = min(starts, key=STAGES.index, default="vessel")
    lags = [lag for lag in row.put.data.get("lags", ()) if lag["stage"] in at]
    return Wire(
        number=row.number,
        title=row.put.title,
        x=round(x, 1),
        top_y=at.get(first, TOP),
        bottom_y=at.get(row.ends_on, max(at.values())),
        marks=tuple(Mark(at[lag["stage"]], MARKS.get(lag["state"], "not-recorded")) for lag in lags),
        lengths=tuple(_length(path, row, x, at) for path in crossings if set(path.split("-")) <= set(at)),
        foot=tuple(
            _short(words, step) for words in (row.put.title, f"{row.count} × {row.size}", row.material)
        ),
    )


def _length(path: str, row: Row, x: float, at: Mapping[str, float]) -> Text:
    hot, cold = path.split("-")
    shown = facts.of(Put(row.put.key, row.put.kind, {"lengths_m": {path: row.put.data["lengths_m"][path]}}))
    words = next(fact.value for fact in shown if fact.name == f"{hot} to {cold}")
    return Text(round(x + 4, 1), round((at[hot] + at[cold]) / 2 + 4, 1), words)


def _short(words: str, step: float) -> str:
    room = int(step / SIGN)
    return words if len(words) <= room else f"{words[: room - 1]}…"
