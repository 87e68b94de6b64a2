"""Silence is a fault of its own: reported once, however often somebody looks."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from server.cooldowns import readings
from server.cooldowns.channels_models import Channel
from server.cooldowns.readings import Latest
from server.cooldowns.readings_models import Silence
from server.cooldowns.readings_rules import moment_ms, shown
from server.cryostats.models import Cryostat
from server.faults import service as faults
from server.faults.models import Fault
from server.history import service as history

MOST_NAMED = 12


def unreported(session: Session, cryostat_id: int, now: datetime) -> tuple[Latest, ...]:
    """Channels that are silent now and whose silence nobody has reported."""
    silent = [row for row in readings.latest(session, cryostat_id, now) if row.silent]
    ids = [row.channel.id for row in silent]
    query = select(Silence.channel_id, Silence.since_ms).where(col(Silence.channel_id).in_(ids))
    known = set(session.exec(query).all()) if ids else set()
    return tuple(row for row in silent if (row.channel.id, _since_ms(row)) not in known)


def report_new(session: Session, person: history.Author, cryostat: Cryostat, now: datetime) -> Fault | None:
    """Report the silences of this cryostat that are new, as one fault; None where there are none.

    A logger that stops silences all its channels at once: that is one fault, not twenty. The same silence is
    never reported again; the next one, after a reading in between, is.
    """
    assert cryostat.id is not None
    # Whoever looks at the same moment waits here, and then finds it reported.
    query = select(Channel.id).where(Channel.cryostat_id == cryostat.id).order_by(col(Channel.id))
    session.exec(query.with_for_update()).all()
    rows = unreported(session, cryostat.id, now)
    if not rows:
        return None
    fault = faults.report(session, person, cryostat.id, words(rows), "The log", now)
    assert fault.id is not None
    for row in rows:
        assert row.channel.id is not None
        session.add(
            Silence(
                channel_id=row.channel.id,
                since_ms=_since_ms(row),
                fault_id=fault.id,
                at=now,
                by_name=person.name,
                by_id=person.id,
            )
        )
    session.flush()
    return fault


def report_all(session: Session, author: history.Author, now: datetime) -> int:
    """Report the new silences of every cryostat, so that none waits until somebody looks; how many faults."""
    rows = session.exec(select(Cryostat).order_by(col(Cryostat.id))).all()
    return sum(report_new(session, author, row, now) is not None for row in rows)


def words(rows: Sequence[Latest]) -> str:
    """`No reading of Platform since 2026-03-14 12:01:00 UTC; of Vacuum, ever`."""
    parts = [
        f"of {row.channel.name} since {shown(_since_ms(row))}"
        if row.last_at
        else f"of {row.channel.name}, ever"
        for row in rows[:MOST_NAMED]
    ]
    more = f"; and of {len(rows) - MOST_NAMED} more channels" if len(rows) > MOST_NAMED else ""
    return f"No reading {'; '.join(parts)}{more}"


def _since_ms(row: Latest) -> int:
    return moment_ms(row.last_at or row.channel.made_at)
