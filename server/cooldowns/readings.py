"""Readings stored, in any order and as often as they come; `readings_rules` says what one moment holds."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from sqlmodel import Session, col, select

from server.cooldowns import channels
from server.cooldowns.blocks import Merged, Values, merged, pack, unpack
from server.cooldowns.channels_models import Channel
from server.cooldowns.readings_asked import (
    Extremes,
    Latest,
    Reading,
    Thin,
    at,
    extremes,
    latest,
    series,
    thin,
)
from server.cooldowns.readings_models import ReadingBlock, SupersededReadings
from server.cooldowns.readings_rules import ChannelValues, Clean, Stored, clean, differing_words
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE
from server.errors import Refused
from server.history import service as history
from server.people.models import Person

__all__ = [
    "Extremes",
    "Latest",
    "Reading",
    "Stored",
    "Thin",
    "at",
    "compare",
    "extremes",
    "latest",
    "series",
    "store",
    "thin",
]
HOURS_AT_ONCE = 400


@dataclass(frozen=True)
class _Laid:
    """Readings of one channel and hour, laid over what stands."""

    channel: Channel
    hour: int
    standing: ReadingBlock | None
    merged: Merged
    sent: int
    after: Values


@dataclass(frozen=True)
class Comparison:
    """What storing these readings would do; `faults` name a channel and what is wrong with its readings.

    `differing` moments have another value that stands, or two in what was sent.
    """

    stored: Stored
    differing: int
    faults: Mapping[str, str]


def store(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    channel_values: ChannelValues,
    now: datetime,
    superseding: str = "",
) -> Stored:
    """Store readings: all of them, or nothing and Refused, with the channel and what is wrong.

    `channel_values` maps the name of a channel to seconds since 1970 UTC and values in its own unit. Where
    another value stands at the same moment it is Refused, unless `superseding` says why the new one takes its
    place; what stood is kept in `superseded_readings`.
    """
    guards.need(session, person, cryostat, OPERATE)
    laid, told = _lay(session, cryostat, channel_values, now, bool(superseding), lock=True)
    if told.faults:
        raise Refused("No reading was stored.", told.faults)
    for part in laid:
        _write(session, person, part, superseding, now)
    if told.stored.superseded:
        line = f"{told.stored.superseded:,} readings superseded: {superseding}"
        history.note(session, person, f"cryostat/{cryostat.slug}", line, now)
    session.flush()
    return told.stored


def compare(
    session: Session,
    cryostat: Cryostat,
    channel_values: ChannelValues,
    now: datetime,
    newer_counts: bool = False,
) -> Comparison:
    """What `store` would do, without doing it."""
    return _lay(session, cryostat, channel_values, now, newer_counts, lock=False)[1]


def _lay(
    session: Session,
    cryostat: Cryostat,
    channel_values: ChannelValues,
    now: datetime,
    newer_counts: bool,
    *,
    lock: bool,
) -> tuple[list[_Laid], Comparison]:
    cleaned, faults = _cleaned(session, cryostat, channel_values, now, newer_counts)
    if lock:
        _lock(session, [channel for channel, _ in cleaned.values()])
    laid: list[_Laid] = []
    found, differing = Stored(), 0
    for name, (channel, sent) in cleaned.items():
        parts = list(_laid_over(session, channel, sent))
        other = [part for part in parts if len(part.merged.differing)]
        differing += sent.twice + sum(len(part.merged.differing) for part in other)
        if other and not newer_counts:
            faults[name] = _differing(other)
        laid += parts
        found += _told(parts, sent.gaps)
    return laid, Comparison(found, differing, faults)


def _cleaned(
    session: Session, cryostat: Cryostat, channel_values: ChannelValues, now: datetime, newer_counts: bool
) -> tuple[dict[str, tuple[Channel, Clean]], dict[str, str]]:
    assert cryostat.id is not None
    known = channels.by_name(session, cryostat.id)
    cleaned: dict[str, tuple[Channel, Clean]] = {}
    faults: dict[str, str] = {}
    for name, (times, values) in channel_values.items():
        channel = known.get(channels.key_of(name))
        if channel is None:
            faults[name] = f"{cryostat.name} has no channel “{name}”"
            continue
        sent = clean(times, values, now, newer_counts)
        if sent.fault:
            faults[name] = sent.fault
        cleaned[name] = (channel, sent)
    return cleaned, faults


def _lock(session: Session, rows: Iterable[Channel]) -> None:
    """Whoever stores in the same channels at the same time waits here until this transaction ends."""
    ids = sorted({row.id for row in rows if row.id is not None})
    query = select(Channel.id).where(col(Channel.id).in_(ids)).order_by(col(Channel.id))
    session.exec(query.with_for_update()).all()


def _laid_over(session: Session, channel: Channel, sent: Clean) -> Iterable[_Laid]:
    hours = sent.hours()
    standing = _standing(session, channel, [hour for hour, _ in hours])
    for hour, part in hours:
        row = standing.get(hour)
        old = unpack(row.content, hour) if row else None
        laid = merged(old, sent.times_ms[part], sent.values[part])
        after = sent.values[part][np.isin(sent.times_ms[part], laid.differing)]
        yield _Laid(channel, hour, row, laid, part.stop - part.start, after)


def _standing(session: Session, channel: Channel, hours: Sequence[int]) -> dict[int, ReadingBlock]:
    found: dict[int, ReadingBlock] = {}
    for begin in range(0, len(hours), HOURS_AT_ONCE):
        some = hours[begin : begin + HOURS_AT_ONCE]
        query = select(ReadingBlock).where(
            ReadingBlock.channel_id == channel.id, col(ReadingBlock.hour).in_(some)
        )
        # A block read before the lock may have grown since.
        rows = session.exec(query.execution_options(populate_existing=True)).all()
        found |= {row.hour: row for row in rows}
    return found


def _told(parts: Iterable[_Laid], gaps: int) -> Stored:
    found = Stored(gaps=gaps)
    for part in parts:
        fresh, other = part.merged.fresh, len(part.merged.differing)
        found += Stored(fresh, part.sent - fresh - other, other)
    return found


def _differing(parts: Sequence[_Laid]) -> str:
    return differing_words(
        np.concatenate([part.merged.differing for part in parts]),
        np.concatenate([part.merged.before for part in parts]),
        np.concatenate([part.after for part in parts]),
    )


def _write(session: Session, person: Person, part: _Laid, reason: str, now: datetime) -> None:
    laid = part.merged
    if not laid.fresh and not len(laid.differing):
        return
    assert part.channel.id is not None
    if len(laid.differing):
        session.add(
            SupersededReadings(
                channel_id=part.channel.id,
                hour=part.hour,
                count=len(laid.differing),
                content=pack(laid.differing, laid.before),
                reason=reason,
                at=now,
                by_name=person.name,
                by_id=person.id,
            )
        )
    columns = _columns(laid)
    if part.standing is None:
        session.add(ReadingBlock(channel_id=part.channel.id, hour=part.hour, **columns))
    else:
        for name, value in columns.items():
            setattr(part.standing, name, value)


def _columns(laid: Merged) -> dict[str, Any]:
    values = laid.values
    return {
        "count": len(values),
        "first_ms": int(laid.times_ms[0]),
        "last_ms": int(laid.times_ms[-1]),
        "first": float(values[0]),
        "last": float(values[-1]),
        "low": float(values.min()),
        "high": float(values.max()),
        "content": pack(laid.times_ms, values),
    }
