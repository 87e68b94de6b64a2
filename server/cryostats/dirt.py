"""Dirt and gas: written down with the revision and the time, to explain slow pumping later."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import contents, guards
from server.cryostats.dirt_models import DirtEntry
from server.cryostats.dirt_rules import KINDS, Said, faults, words
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.people.models import Person


def write(
    session: Session,
    person: Person,
    slug: str,
    said: Said,
    at: datetime,
    unread: Mapping[str, str] | None = None,
) -> DirtEntry:
    """An entry, with the revision that stood when it happened. What was corrected stays, and says so."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    found = faults(said, at) | dict(unread or {})
    if found:
        raise Refused("The entry was not stored.", found)
    if said.corrects is not None:
        _may_correct(session, cryostat, said.corrects)
    done_at = said.done_at or at
    assert cryostat.id is not None
    row = DirtEntry(
        cryostat_id=cryostat.id,
        revision=contents.revision_at(session, cryostat, done_at),
        kind=said.kind,
        what=said.what.strip(),
        data=dict(said.data),
        corrects=said.corrects,
        done_at=done_at,
        note=said.note,
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    told = ", ".join(f"{label.lower()} {value}" for label, value in words(row.kind, row.data))
    line = f"Dirt and gas: {KINDS[row.kind].label.lower()}, {row.what}{f' ({told})' if told else ''}"
    history.note(session, person, f"cryostat/{slug}", line, at, {"corrects": said.corrects})
    return row


def find(session: Session, cryostat: Cryostat, number: int) -> DirtEntry:
    """One entry of this cryostat; NotFound."""
    found = session.get(DirtEntry, number) if 0 < number < 2**31 else None
    if found is None or found.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such entry.")
    return found


def _may_correct(session: Session, cryostat: Cryostat, number: int) -> None:
    find(session, cryostat, number)
    query = select(DirtEntry).where(DirtEntry.corrects == number)
    other = session.exec(query).first()
    if other is not None:
        raise Conflict(f"{other.by_name} has corrected this entry already; correct the newer one.")


def entries(
    session: Session, cryostat: Cryostat, limit: int = 100, before: int | None = None
) -> Sequence[DirtEntry]:
    """What was written down, the newest first; with `before`, entries of a smaller number."""
    query = select(DirtEntry).where(DirtEntry.cryostat_id == cryostat.id)
    if before is not None:
        query = query.where(col(DirtEntry.id) < before)
    return session.exec(query.order_by(col(DirtEntry.id).desc()).limit(limit)).all()


def corrected(session: Session, cryostat: Cryostat) -> frozenset[int]:
    """The numbers of the entries that a newer one corrects."""
    query = select(DirtEntry.corrects).where(
        DirtEntry.cryostat_id == cryostat.id, col(DirtEntry.corrects).is_not(None)
    )
    return frozenset(number for number in session.exec(query).all() if number is not None)
