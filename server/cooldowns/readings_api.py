"""The JSON face of readings: channels, readings in batches, and readings back. SI unless a unit is said."""

from datetime import datetime
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from server.cooldowns import channels, readings, readings_silence
from server.cooldowns.channels_models import Channel
from server.cooldowns.channels_rules import QUANTITIES, converted, unit_of
from server.cooldowns.readings_asked import si_of
from server.cryostats import guards
from server.cryostats.api import REFUSALS
from server.cryostats.models import Cryostat
from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import ApiPerson
from server.units import UNITS

router = APIRouter(tags=["readings"])
MOST_AT_ONCE, MOST_POINTS, MOST_BACK = 10_000, 5000, 100_000
Time = Annotated[float, Field(description="Seconds since 1970 UTC")] | AwareDatetime


class SeriesIn(BaseModel):
    """Readings of one channel. A value of null is a gap. Without a unit values are SI."""

    model_config = ConfigDict(extra="forbid")

    channel: str
    times: Annotated[list[Time], Field(max_length=MOST_AT_ONCE)]
    values: Annotated[list[float | None], Field(max_length=MOST_AT_ONCE)]
    unit: str | None = None


class ReadingsIn(BaseModel):
    """At most 10,000 readings in all. Sent again, in any order and overlap, they change nothing."""

    model_config = ConfigDict(extra="forbid")

    series: Annotated[list[SeriesIn], Field(min_length=1, max_length=400)]


class StoredOut(BaseModel):
    """What became of what was sent."""

    new: int
    already_there: int
    gaps: int


class ChannelOut(BaseModel):
    """A channel; `value` is null unless it is present now."""

    name: str
    quantity: str
    unit: str
    si_unit: str
    stage: str
    part: str
    silent_after_s: float | None
    ended: bool
    silent: bool
    last_at: datetime | None
    value: float | None


class ChannelsOut(BaseModel):
    """All channels of a cryostat."""

    channels: list[ChannelOut]


class ReadingsOut(BaseModel):
    """A stretch of one channel in SI. Thinned, a point is the lowest and highest reading around its time."""

    channel: str
    unit: str
    count: int
    thinned: bool
    times_s: list[float]
    low: list[float]
    high: list[float]


@router.get("/cryostats/{slug}/channels", responses=REFUSALS)
def channels_of(slug: str, _person: ApiPerson, session: ReadSession) -> ChannelsOut:
    """What is logged on this cryostat, and what it reads now."""
    cryostat = guards.find(session, slug)
    rows = readings.latest(session, cryostat.id or 0, now())
    return ChannelsOut(channels=[_channel_out(row) for row in rows])


@router.post("/cryostats/{slug}/readings", responses=REFUSALS)
def store(slug: str, sent: ReadingsIn, person: ApiPerson, session: WriteSession) -> StoredOut:
    """Store readings: all of them, or nothing. Another value at a moment that has one is refused."""
    cryostat = guards.find(session, slug)
    known = channels.by_name(session, cryostat.id or 0)
    batch: dict[str, tuple[Any, Any]] = {}
    faults: dict[str, str] = {}
    if sum(len(row.times) for row in sent.series) > MOST_AT_ONCE:
        faults["series"] = f"Send at most {MOST_AT_ONCE} readings at once"
    for number, row in enumerate(sent.series):
        channel = known.get(channels.key_of(row.channel))
        fault = _fault(row, channel, cryostat, row.channel in batch)
        if fault or channel is None:
            faults[f"series.{number}"] = fault
        else:
            batch[row.channel] = _arrays(row, channel)
    if faults:
        raise Refused("No reading was stored.", faults)
    at = now()
    told = readings.store(session, person, cryostat, batch, at)
    readings_silence.report_new(session, person, cryostat, at)
    return StoredOut(new=told.new, already_there=told.already, gaps=told.gaps)


@router.get("/cryostats/{slug}/readings", responses=REFUSALS)
def stretch(
    slug: str,
    _person: ApiPerson,
    session: ReadSession,
    channel: str,
    from_: Annotated[AwareDatetime, Query(alias="from")],
    to: AwareDatetime,
    points: Annotated[int | None, Query(ge=10, le=MOST_POINTS, description="At most about so many")] = None,
) -> ReadingsOut:
    """Readings from `from` up to, but without, `to`; with `points` thinned so that no extreme is lost."""
    cryostat = guards.find(session, slug)
    row = channels.by_name(session, cryostat.id or 0).get(channels.key_of(channel))
    if row is None:
        raise Refused("There is nothing to read.", {"channel": f"{cryostat.name} has no such channel"})
    if points is not None:
        thin = readings.thin(session, cryostat.id or 0, row, from_, to, points)
        return _stretch(row, thin.count, thin.times_s, thin.low, thin.high)
    whole = readings.extremes(session, cryostat.id or 0, row, from_, to)
    if whole is not None and whole.count > MOST_BACK:
        words = f"{whole.count} readings; ask for at most {MOST_BACK}, or give points"
        raise Refused("That is too much at once.", {"to": words})
    times_s, values = readings.series(session, cryostat.id or 0, row, from_, to)
    return _stretch(row, len(times_s), times_s, values, values)


def _fault(row: SeriesIn, channel: Channel | None, cryostat: Cryostat, again: bool) -> str:
    if channel is None:
        return f"{cryostat.name} has no channel “{row.channel[:60]}”"
    if again:
        return f"{channel.name} stands here twice; send its readings as one series"
    if len(row.times) != len(row.values):
        return "Send as many times as values"
    unit = _unit(row, channel)
    found = unit_of(unit) if unit else UNITS[""]
    if found is None or found.factor is None or found.suffix != QUANTITIES[channel.quantity].suffix:
        return f"“{unit[:20]}” does not go into {channel.unit or 'a plain number'}"
    return ""


def _unit(row: SeriesIn, channel: Channel) -> str:
    return si_of(channel) if row.unit is None else row.unit


def _arrays(row: SeriesIn, channel: Channel) -> tuple[Any, Any]:
    times = [at.timestamp() if isinstance(at, datetime) else at for at in row.times]
    values = np.array([np.nan if value is None else value for value in row.values], np.float64)
    unit = _unit(row, channel)
    found = unit_of(unit) if unit else UNITS[""]
    assert found is not None
    return np.array(times, np.float64), converted(values, found.symbol, channel.unit)


def _channel_out(row: readings.Latest) -> ChannelOut:
    channel = row.channel
    return ChannelOut(
        **channel.model_dump(include={"name", "quantity", "unit", "stage", "part", "silent_after_s"}),
        si_unit=si_of(channel),
        ended=channel.ended_at is not None,
        silent=row.silent,
        last_at=row.last_at,
        value=row.value,
    )


def _stretch(row: Channel, count: int, times_s: Any, low: Any, high: Any) -> ReadingsOut:
    return ReadingsOut(
        channel=row.name,
        unit=si_of(row),
        count=count,
        thinned=count > len(times_s),
        times_s=np.asarray(times_s).tolist(),
        low=np.asarray(low).tolist(),
        high=np.asarray(high).tolist(),
    )
