"""What the counters of cryostats have come to, and how fast they go, read in a fixed number of queries.

The whole story of a counter is never walked: a meter's total is what it shows and what went before it, which
the few replacements tell; what is counted is added up by the database.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, func, select

from server.cryostats.counter_models import CounterEntry
from server.cryostats.counter_rules import COUNTED, COUNTERS, READ, REPLACED, walked
from server.maintenance.rules import WINDOW, Use

Key = tuple[int, str]
MOST_READINGS = 60
"""About one a day in the window: more make the slope no better."""


class _Read(NamedTuple):
    at: datetime
    id: int
    total: float


def uses(session: Session, cryostat_ids: Sequence[int], now: datetime) -> Mapping[int, Mapping[str, Use]]:
    """Cryostat → counter → where it stands and how fast it went in the last eight weeks."""
    since = now - WINDOW
    shown, counted = _shown(session, cryostat_ids, since), _counted(session, cryostat_ids, since)
    found: dict[int, dict[str, Use]] = {key: {} for key in cryostat_ids}
    for cryostat_id in cryostat_ids:
        for counter in COUNTERS:
            rows, more = shown.get((cryostat_id, counter), []), counted.get((cryostat_id, counter), (0.0, 0))
            found[cryostat_id][counter] = _use(rows, more, since, now)
    return found


def _use(rows: Sequence[_Read], counted: tuple[float, int], since: datetime, now: datetime) -> Use:
    total = (rows[-1].total if rows else 0.0) + counted[0]
    # The last reading before the window tells how fast it went at its beginning.
    before = [row for row in rows if row.at < since][-1:]
    inside = [row for row in rows if row.at >= since]
    late = _thinned([*before, *inside])
    days = tuple((row.at - now).total_seconds() / 86400.0 for row in late)
    return Use(total, days, tuple(row.total for row in late), counted[1])


def _thinned(rows: Sequence[_Read]) -> Sequence[_Read]:
    """Of readings at one moment the last, and not more than a slope needs."""
    by_time = list({row.at: row for row in rows}.values())
    step = max(1, -(-len(by_time) // MOST_READINGS))
    return by_time[::-1][::step][::-1]


def _standing(row: Any) -> Any:
    """The condition that no later entry corrects this one."""
    other: Any = aliased(CounterEntry)
    return ~select(other.id).where(other.corrects == row.id).exists()


def _shown(session: Session, cryostat_ids: Sequence[int], since: datetime) -> Mapping[Key, list[_Read]]:
    """The standing readings of the window, and the last before it, each with its total."""
    here: Any = CounterEntry
    reads = [
        col(here.cryostat_id).in_(cryostat_ids),
        col(here.kind).in_((READ, REPLACED)),
        _standing(here),
    ]
    group = (here.cryostat_id, here.counter)
    last = select(*group, func.max(here.at)).where(*reads, here.at < since).group_by(*group)
    newest = session.exec(last).all()
    old = sa.tuple_(col(here.cryostat_id), col(here.counter), col(here.at)).in_(newest)
    query = select(here).where(
        *reads, sa.or_(col(here.at) >= since, old) if newest else col(here.at) >= since
    )
    offsets, found = _offsets(session, cryostat_ids), defaultdict(list)
    for row in session.exec(query.order_by(col(here.at), col(here.id))).all():
        key, place = (row.cryostat_id, row.counter), (row.at, row.id or 0)
        offset = sum(extra for moment, extra in offsets[key] if moment <= place)
        found[key].append(_Read(row.at, row.id or 0, row.shown + offset))
    return found


def _offsets(
    session: Session, cryostat_ids: Sequence[int]
) -> Mapping[Key, list[tuple[tuple[datetime, int], float]]]:
    """For each meter that was fitted: when, and by how much it carries on from the one before."""
    here: Any = CounterEntry
    before: Any = aliased(CounterEntry)
    earlier = sa.or_(before.at < here.at, sa.and_(before.at == here.at, before.id < here.id))
    stood = (
        select(before.shown)
        .where(
            before.cryostat_id == here.cryostat_id,
            before.counter == here.counter,
            col(before.kind).in_((READ, REPLACED)),
            _standing(before),
            earlier,
        )
        .order_by(before.at.desc(), before.id.desc())
        .limit(1)
        .correlate(here)
        .scalar_subquery()
    )
    query = select(here, stood).where(
        col(here.cryostat_id).in_(cryostat_ids), here.kind == REPLACED, _standing(here)
    )
    found = defaultdict(list)
    for row, shown in session.exec(query).all():
        found[row.cryostat_id, row.counter].append(((row.at, row.id or 0), (shown or 0.0) - row.began))
    return found


def _counted(
    session: Session, cryostat_ids: Sequence[int], since: datetime
) -> Mapping[Key, tuple[float, int]]:
    """What was counted after the last typed entry, and how often in the window."""
    here: Any = CounterEntry
    read: Any = aliased(CounterEntry)
    group = (here.cryostat_id, here.counter)
    typed = (
        select(read.cryostat_id, read.counter, func.max(read.at).label("at"))
        .where(col(read.kind) == READ, _standing(read))
        .group_by(read.cryostat_id, read.counter)
        .subquery()
    )
    after = sa.case((sa.or_(typed.c.at.is_(None), col(here.at) >= typed.c.at), here.shown), else_=0.0)
    lately = sa.case((col(here.at) >= since, 1), else_=0)
    joined = (typed.c.cryostat_id == here.cryostat_id) & (typed.c.counter == here.counter)
    query = (
        select(*group, func.sum(after), func.sum(lately))
        .join(typed, joined, isouter=True)
        .where(col(here.cryostat_id).in_(cryostat_ids), here.kind == COUNTED, _standing(here))
        .group_by(*group)
    )
    return {
        (cryostat, counter): (total, int(often)) for cryostat, counter, total, often in session.exec(query)
    }


def totals_at(session: Session, cryostat_id: int, at: datetime) -> Mapping[str, float]:
    """What each counter of a cryostat had come to at a moment: the whole story is walked."""
    query = select(CounterEntry).where(CounterEntry.cryostat_id == cryostat_id, CounterEntry.at <= at)
    rows: dict[str, list[CounterEntry]] = defaultdict(list)
    for row in session.exec(query).all():
        rows[row.counter].append(row)
    return {counter: walked(found)[-1].total for counter, found in rows.items()}
