"""Log files: sent, described, looked at, and taken in step by step. A bad file changes nothing.

All of a file is read, and all of it compared with what stands, before the first of its readings is stored. A
large one is then stored some rows at a time, so that others get at the book in between and the page can tell
how far it is; a step that is asked for twice stores nothing twice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, col, select

from server.cooldowns import channels, readings
from server.cooldowns.log_cells import Fault, Layout, Unreadable, take_apart
from server.cooldowns.log_files import Kept, Log, Spec, propose, read, spec_faults
from server.cooldowns.readings import Comparison, Stored
from server.cooldowns.readings_models import LogHeader, LogUpload
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE, text_faults
from server.errors import Conflict, NotFound, Refused
from server.files import service as files
from server.files import store
from server.files.models import StoredFile
from server.files.pictures import Clean
from server.history import service as history
from server.people.models import Person

CSV = "text/csv"
CELLS_AT_ONCE = 300_000
LONGEST_REASON = 500


class NotTaken(Refused):
    """A file of which nothing is taken in; `faults` say what is to be mended on which line and column."""

    def __init__(self, message: str, fields: Mapping[str, str], faults: Sequence[Fault] = ()) -> None:
        super().__init__(message, fields)
        self.faults = tuple(faults)


@dataclass(frozen=True)
class Look:
    """A file as it would be taken in now: how it is read, what it holds, what storing it would do."""

    upload: LogUpload
    layout: Layout
    spec: Spec
    fields: Mapping[str, str]
    faults: tuple[Fault, ...] = ()
    log: Log | None = None
    comparison: Comparison | None = None

    @property
    def good(self) -> bool:
        """True when nothing has to be mended first; values that differ may still need a reason."""
        return not self.fields and not self.faults and self.comparison is not None


def send(
    session: Session, home: Path, person: Person, cryostat: Cryostat, name: str, content: bytes, now: datetime
) -> LogUpload:
    """Keep a file and say how it will probably be read; NotTaken for what is no table of readings."""
    guards.need(session, person, cryostat, OPERATE)
    try:
        layout = take_apart(content)
    except Unreadable as problem:
        message = "Nothing was taken in."
        raise NotTaken(message, {"file": problem.faults[0].text}, problem.faults) from problem
    assert cryostat.id is not None
    kept = files.keep(session, home, Clean(content, CSV), now)
    spec = remembered(session, cryostat, layout) or propose(layout, known(session, cryostat))
    assert kept.id is not None
    row = LogUpload(
        cryostat_id=cryostat.id,
        file_id=kept.id,
        sent_name=name or "pasted text",
        reading=spec.written(),
        rows=len(layout.lines),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def known(session: Session, cryostat: Cryostat) -> dict[int, Kept]:
    """The channels that a column can be."""
    assert cryostat.id is not None
    rows = channels.of(session, cryostat.id)
    return {row.id: Kept(row.name, row.unit) for row in rows if row.id is not None}


def remembered(session: Session, cryostat: Cryostat, layout: Layout) -> Spec | None:
    """How a file with this head was read last here; None for a new head, or when a channel of it is gone."""
    query = select(LogHeader).where(LogHeader.cryostat_id == cryostat.id, LogHeader.digest == layout.digest)
    row = session.exec(query.order_by(col(LogHeader.id).desc()).limit(1)).first()
    return Spec.of(row.reading) if row else None


def find(session: Session, cryostat: Cryostat, number: int, *, lock: bool = False) -> LogUpload:
    """One file of this cryostat; NotFound."""
    query = select(LogUpload).where(LogUpload.id == number, LogUpload.cryostat_id == cryostat.id)
    if lock:
        query = query.with_for_update().execution_options(populate_existing=True)
    row = session.exec(query).first() if 0 < number < 2**31 else None
    if row is None:
        raise NotFound(f"{cryostat.name} has no such log file.")
    return row


def newest(session: Session, cryostat: Cryostat, limit: int = 10) -> Sequence[LogUpload]:
    """The files sent last, newest first."""
    query = select(LogUpload).where(LogUpload.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(LogUpload.id).desc()).limit(limit)).all()


def look(
    session: Session, home: Path, cryostat: Cryostat, upload: LogUpload, zone: str, now: datetime
) -> Look:
    """The whole file read and compared with what stands; what cannot be is told, not raised."""
    layout, spec = _layout(session, home, upload), Spec.of(upload.reading)
    kept = known(session, cryostat)
    fields = spec_faults(layout, spec, kept)
    if fields:
        return Look(upload, layout, spec, fields)
    try:
        log = read(layout, spec, kept, zone)
    except Unreadable as problem:
        return Look(upload, layout, spec, {}, problem.faults)
    compared = readings.compare(session, cryostat, log.rows(0, upload.rows), now, newer_counts=True)
    faults = tuple(Fault(0, name, text) for name, text in compared.faults.items())
    return Look(upload, layout, spec, {}, faults, log, compared)


def _layout(session: Session, home: Path, upload: LogUpload) -> Layout:
    file = session.get(StoredFile, upload.file_id)
    assert file is not None
    return take_apart(store.get(home, file.digest))


def describe(session: Session, person: Person, cryostat: Cryostat, number: int, spec: Spec) -> LogUpload:
    """How the file is to be read, as a person says; Conflict once taking it in has begun."""
    guards.need(session, person, cryostat, OPERATE)
    row = find(session, cryostat, number, lock=True)
    if row.begun_at is not None:
        raise Conflict("This file is being taken in, or has been; send it again to read it otherwise.")
    row.reading = spec.written()
    session.add(row)
    session.flush()
    return row


def take(
    session: Session,
    home: Path,
    person: Person,
    cryostat: Cryostat,
    number: int,
    superseding: str,
    zone: str,
    now: datetime,
) -> LogUpload:
    """Begin to take a file in, and store its first rows; NotTaken when any of it cannot be."""
    guards.need(session, person, cryostat, OPERATE)
    row = find(session, cryostat, number, lock=True)
    if row.begun_at is not None:
        return row
    seen = look(session, home, cryostat, row, zone, now)
    _refuse(seen, superseding)
    row.begun_at, row.superseding = now, superseding.strip()
    _remember(session, person, cryostat, seen, now)
    line = f"Log file {row.sent_name} taken in: {row.rows:,} lines"
    history.note(session, person, f"cryostat/{cryostat.slug}", line, now, {"file": row.id})
    return _some(session, person, cryostat, row, seen.log, now)


def _refuse(seen: Look, superseding: str) -> None:
    message = "Nothing was taken in."
    if not seen.good:
        fields = seen.fields or {"file": seen.faults[0].text}
        raise NotTaken(message, fields, seen.faults)
    wrong = text_faults("superseding", "the reason", superseding, LONGEST_REASON)
    assert seen.comparison is not None
    if seen.comparison.differing and not superseding.strip():
        wrong["superseding"] = "Enter why the values of this file take the place of those that stand"
    if wrong:
        raise NotTaken(message, wrong)


def _remember(session: Session, person: Person, cryostat: Cryostat, seen: Look, now: datetime) -> None:
    """How this head is read here from now on. What belongs to one file alone is not remembered."""
    spec = Spec(seen.spec.roles, seen.spec.units, seen.spec.zone, seen.spec.order)
    if remembered(session, cryostat, seen.layout) == spec:
        return
    assert cryostat.id is not None
    row = LogHeader(
        cryostat_id=cryostat.id,
        digest=seen.layout.digest,
        reading=spec.written(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)


def step(
    session: Session,
    home: Path,
    person: Person,
    cryostat: Cryostat,
    number: int,
    after: int,
    zone: str,
    now: datetime,
) -> LogUpload:
    """Store the next rows, if `after` is how far the file has been taken; else nothing is left to do here."""
    guards.need(session, person, cryostat, OPERATE)
    row = find(session, cryostat, number, lock=True)
    if row.begun_at is None:
        raise Conflict("Nobody has begun to take this file in.")
    if row.rows_taken != after or row.rows_taken >= row.rows:
        return row
    layout, spec = _layout(session, home, row), Spec.of(row.reading)
    log = read(layout, spec, known(session, cryostat), zone)
    return _some(session, person, cryostat, row, log, now)


def _some(
    session: Session, person: Person, cryostat: Cryostat, row: LogUpload, log: Log | None, now: datetime
) -> LogUpload:
    assert log is not None
    end = min(row.rows, row.rows_taken + max(1, CELLS_AT_ONCE // max(1, len(log.values))))
    part = log.rows(row.rows_taken, end)
    told: Stored = readings.store(session, person, cryostat, part, now, row.superseding)
    row.rows_taken, row.stored = end, row.stored + told.new + told.superseded
    session.add(row)
    session.flush()
    return row
