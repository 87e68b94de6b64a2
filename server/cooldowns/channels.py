"""The channels of a cryostat: made, altered, ended, found by name."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from server.cooldowns.channels_models import Channel
from server.cooldowns.channels_rules import MOST_CHANNELS, Wanted, faults
from server.cooldowns.readings_models import ReadingBlock
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import REWIRE
from server.errors import NotFound, Refused
from server.history import service as history
from server.history.service import Author
from server.people.models import Person


def make(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    wanted: Wanted,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> Channel:
    """A new channel; Refused with the field to mend. `unread` is what of a form could not be read."""
    _allow(session, person, cryostat)
    _refuse(session, cryostat, wanted, None, unread or {})
    assert cryostat.id is not None
    row = Channel(cryostat_id=cryostat.id, made_at=now, **_fields(wanted))
    session.add(row)
    session.flush()
    _note(session, person, cryostat, f"Channel {row.name} made ({row.quantity}, {row.unit or 'number'})", now)
    return row


def alter(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    channel_id: int,
    wanted: Wanted,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> Channel:
    """A channel described anew. What it measures and its unit stay once there are readings."""
    _allow(session, person, cryostat)
    row = find(session, cryostat, channel_id)
    _refuse(session, cryostat, wanted, row, unread or {})
    before = row.model_dump(mode="json")
    for name, value in _fields(wanted).items():
        setattr(row, name, value)
    session.add(row)
    _note(session, person, cryostat, f"Channel {row.name} altered", now, {"before": before})
    return row


def end(session: Session, person: Person, cryostat: Cryostat, channel_id: int, now: datetime) -> Channel:
    """Nothing is expected of this channel from now on; or, if it had ended, something is again."""
    _allow(session, person, cryostat)
    row = find(session, cryostat, channel_id)
    row.ended_at = now if row.ended_at is None else None
    session.add(row)
    line = f"Channel {row.name} {'ended' if row.ended_at else 'expected again'}"
    _note(session, person, cryostat, line, now)
    return row


def find(session: Session, cryostat: Cryostat, channel_id: int) -> Channel:
    """One channel of this cryostat; NotFound."""
    row = session.get(Channel, channel_id) if 0 < channel_id < 2**31 else None
    if row is None or row.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such channel.")
    return row


def of(session: Session, cryostat_id: int) -> Sequence[Channel]:
    """Every channel of a cryostat, those still expected first, by stage as they were made."""
    query = select(Channel).where(Channel.cryostat_id == cryostat_id)
    return session.exec(query.order_by(col(Channel.ended_at).is_not(None), col(Channel.id))).all()


def by_name(session: Session, cryostat_id: int) -> dict[str, Channel]:
    """Every channel by its name without regard to case, as people and files name it."""
    return {key_of(row.name): row for row in of(session, cryostat_id)}


def key_of(name: str) -> str:
    """What two spellings of one name have in common."""
    return " ".join(name.casefold().split())


def _allow(session: Session, person: Person, cryostat: Cryostat) -> None:
    guards.need(session, person, cryostat, REWIRE)
    # Two people who add at once: the second waits here, and then sees the first one's name.
    guards.find(session, cryostat.slug, lock=True)


def _refuse(
    session: Session, cryostat: Cryostat, wanted: Wanted, row: Channel | None, unread: Mapping[str, str]
) -> None:
    assert cryostat.id is not None
    found = faults(wanted, cryostat.stages) | dict(unread)
    known = by_name(session, cryostat.id)
    other = known.get(key_of(wanted.name))
    if other is not None and (row is None or other.id != row.id):
        found.setdefault("name", f"There is a channel {other.name} here already")
    if row is None and len(known) >= MOST_CHANNELS:
        found.setdefault("name", f"A cryostat has at most {MOST_CHANNELS} channels")
    if row is not None and (wanted.quantity, wanted.unit) != (row.quantity, row.unit) and _used(session, row):
        found.setdefault("unit", f"It has readings in {row.unit or 'no unit'}; make another channel instead")
    if found:
        raise Refused("The channel was not stored.", found)


def _used(session: Session, row: Channel) -> bool:
    query = select(ReadingBlock.hour).where(ReadingBlock.channel_id == row.id)
    return session.exec(query.limit(1)).first() is not None


def _fields(wanted: Wanted) -> dict[str, Any]:
    return {
        "name": " ".join(wanted.name.split()),
        "quantity": wanted.quantity,
        "unit": wanted.unit,
        "stage": wanted.stage,
        "part": wanted.part.strip(),
        "silent_after_s": wanted.silent_after_s,
    }


def _note(
    session: Session,
    person: Author,
    cryostat: Cryostat,
    line: str,
    at: datetime,
    detail: dict[str, object] | None = None,
) -> None:
    history.note(session, person, f"cryostat/{cryostat.slug}", line, at, detail)
