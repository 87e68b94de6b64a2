"""Readings asked for: a stretch, its extremes, one moment, the newest, and few points for a drawing. SI."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import sqlalchemy as sa
from sqlmodel import Session, col, select

from server.cooldowns import channels
from server.cooldowns.blocks import HOUR_MS, Moments, Values, unpack
from server.cooldowns.channels_models import Channel
from server.cooldowns.channels_rules import QUANTITIES, converted, one_converted, silent
from server.cooldowns.readings_models import ReadingBlock
from server.cooldowns.readings_rules import moment, moment_ms
from server.errors import NotFound

PRESENT_FOR_S = 3600.0
"""A value of a channel that may be silent counts as present for this long."""
COLUMNS = ("hour", "count", "first_ms", "last_ms", "first", "last", "low", "high")


@dataclass(frozen=True)
class Reading:
    """One reading, SI."""

    at: datetime
    value: float


@dataclass(frozen=True)
class Extremes:
    """What a stretch of readings holds, SI."""

    count: int
    low: float
    high: float
    first: Reading
    last: Reading


@dataclass(frozen=True)
class Latest:
    """What is known of a channel now. `value` (SI) is None unless it is present; an old one never stands in.

    `last_at` is when the last reading was, None if there has been none. `silent` is a fault; a channel that
    may be silent, or has ended, is never that.
    """

    channel: Channel
    last_at: datetime | None
    value: float | None
    silent: bool

    @property
    def in_unit(self) -> float | None:
        """The value in the channel's own unit."""
        unit = self.channel.unit
        return None if self.value is None else one_converted(self.value, si_of(self.channel), unit)


@dataclass(frozen=True)
class Thin:
    """A stretch in few points: at each time the lowest and highest reading around it, in SI.

    `count` readings stand behind it. A gap is longer than `gap_s` between two times.
    """

    times_s: Values
    low: Values
    high: Values
    count: int
    gap_s: float


def si_of(channel: Channel) -> str:
    """Symbol of the SI unit of the channel."""
    return QUANTITIES[channel.quantity].si


def series(
    session: Session, cryostat_id: int, channel: Channel | str, from_: datetime, to: datetime
) -> tuple[Values, Values]:
    """Times (seconds since 1970 UTC) and values (SI) from `from_` up to, but without, `to`."""
    row = _channel(session, cryostat_id, channel)
    times_ms, values = raw(session, row, from_, to)
    return times_ms / 1000.0, converted(values, row.unit, si_of(row))


def raw(session: Session, channel: Channel, from_: datetime, to: datetime) -> tuple[Moments, Values]:
    """The same in milliseconds and in the channel's own unit, as it was stored."""
    begin, end = moment_ms(from_), moment_ms(to)
    parts = [unpack(content, hour) for hour, content in _contents(session, channel, begin, end)]
    if not parts:
        return np.empty(0, np.int64), np.empty(0)
    times = np.concatenate([part[0] for part in parts])
    values = np.concatenate([part[1] for part in parts])
    inside = slice(*np.searchsorted(times, (begin, end)))
    return times[inside], values[inside]


def _contents(session: Session, channel: Channel, begin: int, end: int) -> Iterator[tuple[int, bytes]]:
    query = select(ReadingBlock.hour, ReadingBlock.content).where(*_span(channel, begin, end))
    yield from session.exec(query.order_by(col(ReadingBlock.hour))).all()


def _span(channel: Channel, begin: int, end: int) -> tuple[Any, ...]:
    return (
        ReadingBlock.channel_id == channel.id,
        col(ReadingBlock.hour) >= begin // HOUR_MS,
        col(ReadingBlock.hour) <= (end - 1) // HOUR_MS,
    )


def _summaries(session: Session, channel: Channel, begin: int, end: int) -> Sequence[Any]:
    """The columns of each block, without what is packed in it."""
    table = ReadingBlock.__table__  # type: ignore[attr-defined]
    query = sa.select(*(table.c[name] for name in COLUMNS)).where(*_span(channel, begin, end))
    return session.execute(query.order_by(table.c.hour)).all()


def extremes(
    session: Session, cryostat_id: int, channel: Channel | str, from_: datetime, to: datetime
) -> Extremes | None:
    """Count, extremes, first and last of a stretch, SI; None where there is no reading in it.

    Only the blocks at its two ends are unpacked.
    """
    row = _channel(session, cryostat_id, channel)
    begin, end = moment_ms(from_), moment_ms(to)
    parts = [
        _ends(block.count, block.low, block.high, block.first_ms, block.first, block.last_ms, block.last)
        if block.first_ms >= begin and block.last_ms < end
        else _cut(session, row, block.hour, begin, end)
        for block in _summaries(session, row, begin, end)
    ]
    found = [part for part in parts if part is not None]
    if not found:
        return None

    def si(value: float) -> float:
        return one_converted(value, row.unit, si_of(row))

    return Extremes(
        count=sum(part.count for part in found),
        low=si(min(part.low for part in found)),
        high=si(max(part.high for part in found)),
        first=Reading(found[0].first.at, si(found[0].first.value)),
        last=Reading(found[-1].last.at, si(found[-1].last.value)),
    )


def _ends(
    count: int, low: float, high: float, first_ms: int, first: float, last_ms: int, last: float
) -> Extremes:
    return Extremes(count, low, high, Reading(moment(first_ms), first), Reading(moment(last_ms), last))


def _cut(session: Session, channel: Channel, hour: int, begin: int, end: int) -> Extremes | None:
    """The part of one block that lies in the stretch."""
    begins, ends = moment(max(begin, hour * HOUR_MS)), moment(min(end, (hour + 1) * HOUR_MS))
    times, values = raw(session, channel, begins, ends)
    if not len(times):
        return None
    low, high = float(values.min()), float(values.max())
    return _ends(len(times), low, high, int(times[0]), float(values[0]), int(times[-1]), float(values[-1]))


def at(session: Session, channel: Channel, when: datetime) -> Reading | None:
    """The last reading at or before a moment, SI; None where it is older than the channel may be silent."""
    allowed_ms = round(1000 * (channel.silent_after_s or PRESENT_FOR_S))
    end = moment_ms(when) + 1
    times, values = raw(session, channel, moment(end - allowed_ms - 1), moment(end))
    if not len(times):
        return None
    return Reading(moment(int(times[-1])), one_converted(float(values[-1]), channel.unit, si_of(channel)))


def latest(session: Session, cryostat_id: int, now: datetime) -> tuple[Latest, ...]:
    """What is known of every channel now: its value, or since when there is none."""
    newest = (
        sa.select(
            col(ReadingBlock.channel_id).label("channel_id"), sa.func.max(ReadingBlock.hour).label("hour")
        )
        .join(Channel, col(Channel.id) == ReadingBlock.channel_id)
        .where(col(Channel.cryostat_id) == cryostat_id)
        .group_by(col(ReadingBlock.channel_id))
        .subquery()
    )
    table = ReadingBlock.__table__  # type: ignore[attr-defined]
    on = (table.c.channel_id == newest.c.channel_id) & (table.c.hour == newest.c.hour)
    query = sa.select(table.c.channel_id, table.c.last_ms, table.c.last).join(newest, on)
    last = {key: (at_ms, value) for key, at_ms, value in session.execute(query).all()}
    return tuple(_latest(row, last.get(row.id), now) for row in channels.of(session, cryostat_id))


def _latest(channel: Channel, last: tuple[int, float] | None, now: datetime) -> Latest:
    if last is None:
        last_at, value = None, None
    else:
        last_at, value = moment(last[0]), one_converted(last[1], channel.unit, si_of(channel))
    expected = last_at or channel.made_at
    quiet = silent(expected, channel.silent_after_s, channel.ended_at is not None, now)
    allowed_s = channel.silent_after_s or PRESENT_FOR_S
    present = last_at is not None and (now - last_at).total_seconds() <= allowed_s
    return Latest(channel, last_at, value if present else None, quiet)


def thin(
    session: Session, cryostat_id: int, channel: Channel | str, from_: datetime, to: datetime, points: int
) -> Thin:
    """A stretch in about `points` points for a drawing, which no extreme is lost from.

    Of a long stretch the extremes of the hours are enough, and nothing is unpacked.
    """
    row = _channel(session, cryostat_id, channel)
    begin, end = moment_ms(from_), moment_ms(to)
    blocks = _summaries(session, row, begin, end)
    gap_s = row.silent_after_s or 0.0
    if len(blocks) > 2 * points:
        numbers = np.array([(b.hour * HOUR_MS + HOUR_MS / 2, b.low, b.high) for b in blocks], np.float64)
        times_ms, low, high = numbers.T
        count = sum(block.count for block in blocks)
        gap_s = max(gap_s, HOUR_MS / 1000)
    else:
        times_ms, low = raw(session, row, from_, to)
        high, count = low, len(low)
    found = _thinned(times_ms, low, high, points)
    gap_s = max(gap_s, _usual_gap_s(times_ms), _usual_gap_s(found[0]))
    unit, si = row.unit, si_of(row)
    return Thin(found[0] / 1000.0, converted(found[1], unit, si), converted(found[2], unit, si), count, gap_s)


def _usual_gap_s(times_ms: Any) -> float:
    """More than four times the usual step is a gap."""
    return 4.0 * float(np.median(np.diff(times_ms))) / 1000.0 if len(times_ms) > 2 else 0.0


def _thinned(times_ms: Any, low: Values, high: Values, points: int) -> tuple[Values, Values, Values]:
    """Time, lowest and highest of equal stretches of time that hold readings."""
    if len(times_ms) <= 2 * points:
        return np.asarray(times_ms, np.float64), low, high
    width = max(1.0, (float(times_ms[-1]) - float(times_ms[0]) + 1.0) / points)
    edges = np.searchsorted(times_ms, float(times_ms[0]) + width * np.arange(points))
    starts = np.unique(edges[edges < len(times_ms)])
    middle = (
        np.asarray(times_ms)[starts] + np.asarray(times_ms)[np.append(starts[1:], len(times_ms)) - 1]
    ) / 2
    return middle, np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)


def _channel(session: Session, cryostat_id: int, channel: Channel | str) -> Channel:
    if isinstance(channel, Channel):
        return channel
    found = channels.by_name(session, cryostat_id).get(channels.key_of(channel))
    if found is None:
        raise NotFound(f"There is no channel “{channel}” here.")
    return found
