"""What the page of a plot shows: which channels, from when to when, the drawing, the numbers beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from urllib.parse import urlencode

import numpy as np
from sqlmodel import Session

from server.cooldowns import channels, readings
from server.cooldowns.channels_models import Channel
from server.cooldowns.plots import Drawing, draw
from server.cooldowns.plots_curves import POINTS, curve
from server.cooldowns.readings import Extremes
from server.cooldowns.readings_asked import raw
from server.cooldowns.readings_rules import moment_ms
from server.cryostats.models import Cryostat
from server.errors import Refused
from server.units import in_unit
from server.web import tabular
from server.web.moments import local
from server.web.tabular import Figure, Style

MOST_CURVES = 8
MOST_ROWS = 500_000
AXES = (("", "by decades where it spans them"), ("linear", "linear"), ("log", "logarithmic"))
DAY = timedelta(days=1)
LONGEST = timedelta(days=3660)


@dataclass(frozen=True)
class Asked:
    """What is to be plotted."""

    channels: tuple[Channel, ...]
    begin: datetime
    end: datetime
    axis: str = ""


@dataclass(frozen=True)
class CurveRow:
    """One channel in the table beside the plot, in its own unit."""

    channel: Channel
    count: int
    extremes: Extremes | None
    low: str
    high: str
    first: str
    last: str


@dataclass(frozen=True)
class PlotView:
    """The page of a plot."""

    cryostat: Cryostat
    asked: Asked
    drawing: Drawing
    rows: tuple[CurveRow, ...]
    known: Sequence[Channel]
    zone: str
    faults: Mapping[str, str] = field(default_factory=dict)
    axes: Sequence[tuple[str, str]] = AXES

    @property
    def choices(self) -> Sequence[tuple[str, str]]:
        """The channels as the form offers them."""
        return [(str(row.id), row.name) for row in self.known]

    @property
    def chosen(self) -> tuple[str, ...]:
        """Keys of the channels that are drawn, as the form has them."""
        return tuple(str(row.id) for row in self.asked.channels)

    def typed(self, moment: datetime) -> str:
        """A moment as the form takes it; its offset is there only in an hour that comes twice."""
        here = local(moment, self.zone)
        twice = here.replace(fold=1 - here.fold).utcoffset() != here.utcoffset()
        return here.strftime("%Y-%m-%d %H:%M:%S") + (here.strftime("%z") if twice else "")

    def query(self, begin: datetime | None = None, end: datetime | None = None) -> str:
        """The address's query of this plot, or of another stretch of it."""
        asked = self.asked
        names = [("channel", key) for key in self.chosen]
        ends = [("from", (begin or asked.begin).isoformat()), ("to", (end or asked.end).isoformat())]
        return urlencode([*names, *ends, ("axis", asked.axis)])

    @property
    def ways(self) -> tuple[tuple[str, str], ...]:
        """Words and query of the stretches one goes on to."""
        begin, end = self.asked.begin, self.asked.end
        half = (end - begin) / 2
        return (
            ("Earlier", self.query(begin - half, end - half)),
            ("Later", self.query(begin + half, end + half)),
            ("Closer", self.query(begin + half / 2, end - half / 2)),
            ("Wider", self.query(begin - half, end + half)),
        )


def asked(
    session: Session,
    cryostat: Cryostat,
    keys: Sequence[int],
    begin: datetime | None,
    end: datetime | None,
    axis: str,
    now: datetime,
) -> Asked:
    """What is meant: without channels the first few, without times the day up to the newest reading."""
    assert cryostat.id is not None
    known = channels.of(session, cryostat.id)
    chosen = tuple(row for row in known if row.id in keys) or tuple(known)
    end = end or (begin + DAY if begin else _newest(session, cryostat.id, now))
    begin = begin or end - DAY
    if begin >= end:
        raise Refused("The plot cannot be drawn.", {"to": "The end must come after the beginning"})
    if end - begin > LONGEST:
        raise Refused("The plot cannot be drawn.", {"from": "Keep a plot within ten years"})
    return Asked(chosen[:MOST_CURVES], begin, end, axis if axis in ("linear", "log") else "")


def _newest(session: Session, cryostat_id: int, now: datetime) -> datetime:
    last = [row.last_at for row in readings.latest(session, cryostat_id, now) if row.last_at]
    return max(last, default=now) + timedelta(minutes=1)


def page(session: Session, cryostat: Cryostat, what: Asked, zone: str) -> PlotView:
    """The plot and what stands beside it."""
    assert cryostat.id is not None
    curves, rows = [], []
    for channel in what.channels:
        found = readings.thin(session, cryostat.id, channel, what.begin, what.end, POINTS)
        curves.append(curve(channel, found))
        whole = readings.extremes(session, cryostat.id, channel, what.begin, what.end)
        rows.append(_row(channel, found.count, whole))
    drawing = draw(curves, what.begin.timestamp(), what.end.timestamp(), zone, axis=what.axis)
    return PlotView(cryostat, what, drawing, tuple(rows), channels.of(session, cryostat.id), zone)


def _row(channel: Channel, count: int, whole: Extremes | None) -> CurveRow:
    if whole is None:
        return CurveRow(channel, 0, None, "", "", "", "")

    def words(value: float) -> str:
        return in_unit(value, channel.unit, 5)

    ends = (whole.low, whole.high, whole.first.value, whole.last.value)
    return CurveRow(channel, count, whole, *map(words, ends))


def table(session: Session, what: Asked, style: Style) -> str:
    """Every reading of the plot as a text table: UTC, channel, value, unit. Refused where it is too long."""
    ends = (what.begin, what.end)
    found = [(row, *raw(session, row, *ends)) for row in what.channels]
    if sum(len(times) for _, times, _ in found) > MOST_ROWS:
        words = f"More than {MOST_ROWS:,} readings; choose a shorter stretch or fewer channels"
        raise Refused("The table was not made.", {"to": words})
    rows = [
        (at, row.name, Figure(repr(value)), row.unit)
        for row, times_ms, values in found
        for at, value in zip(_written(times_ms), values.tolist(), strict=True)
    ]
    return tabular.written(("time (UTC)", "channel", "value", "unit"), rows, style)


def _written(times_ms: np.ndarray[tuple[int], np.dtype[np.int64]]) -> list[str]:
    return [f"{at}Z" for at in np.datetime_as_string(times_ms.astype("datetime64[ms]"), unit="ms").tolist()]


def span_words(begin: datetime, end: datetime) -> str:
    """What a file's name says of a stretch."""
    return f"{moment_ms(begin) // 1000}-{moment_ms(end) // 1000}"
