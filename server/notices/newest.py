"""The newest reading of every channel of every cryostat, in one query that looks at one block a channel."""

from collections.abc import Mapping
from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Session, col

from server.cooldowns.channels_models import Channel
from server.cooldowns.channels_rules import one_converted, silent
from server.cooldowns.readings_asked import PRESENT_FOR_S, Latest, si_of
from server.cooldowns.readings_models import ReadingBlock
from server.cooldowns.readings_rules import moment


def of_all(session: Session, now: datetime) -> Mapping[int, tuple[Latest, ...]]:
    """Cryostat key → its channels that have not ended, as they stand now."""
    block = ReadingBlock.__table__  # type: ignore[attr-defined]
    other = block.alias()
    # A sub-query for each channel finds the end of its index; grouping would read every hour there ever was.
    newest = sa.select(sa.func.max(other.c.hour)).where(other.c.channel_id == Channel.id)
    hour = newest.correlate(Channel).scalar_subquery()
    on = (block.c.channel_id == Channel.id) & (block.c.hour == hour)
    query = sa.select(Channel, block.c.last_ms, block.c.last).outerjoin(block, on)
    rows = session.execute(query.where(col(Channel.ended_at).is_(None)).order_by(col(Channel.id))).all()
    found: dict[int, tuple[Latest, ...]] = {}
    for channel, last_ms, last in rows:
        here = _latest(channel, last_ms, last, now)
        found[channel.cryostat_id] = (*found.get(channel.cryostat_id, ()), here)
    return found


def _latest(channel: Channel, last_ms: int | None, last: float | None, now: datetime) -> Latest:
    at = None if last_ms is None else moment(last_ms)
    allowed_s = channel.silent_after_s or PRESENT_FOR_S
    present = at is not None and last is not None and (now - at).total_seconds() <= allowed_s
    value = one_converted(last, channel.unit, si_of(channel)) if present and last is not None else None
    quiet = silent(at or channel.made_at, channel.silent_after_s, False, now)
    return Latest(channel, at, value, quiet)
