"""What is in the books of one cryostat at one moment, in a number of queries that does not grow."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, func, or_, select

from server.bookings.models import Booking, Occupancy
from server.cooldowns import channels, finding, pictures, residual
from server.cooldowns.channels_models import Channel
from server.cooldowns.finding import Sheet
from server.cooldowns.models import Cooldown
from server.cooldowns.residual_rules import Residual
from server.cryostats import contents, photographs
from server.cryostats.models import Cryostat, Revision
from server.cryostats.part_models import Part
from server.cryostats.photographs import Shown
from server.cryostats.rules import Put
from server.cryostats.samples import TAKEN_OUT
from server.cryostats.samples_models import Sample, SampleStep
from server.faults.models import Fault, FaultEntry
from server.faults.rules import STILL_OPEN
from server.files.models import StoredFile
from server.openings.finding import Sheet as Slip
from server.openings.models import Opening, OpeningEntry

MOST_SLIPS = 10


@dataclass(frozen=True)
class Found:
    """Everything the record tells of one moment."""

    cryostat: Cryostat
    at: datetime
    revision: Revision | None
    steps: Sequence[Revision]
    puts: Mapping[str, Put]
    parts: Mapping[str, Part]
    photographs: Sequence[Shown]
    sheet: Sheet | None
    residuals: Sequence[Residual]
    cold_pictures: Sequence[pictures.Shown]
    channels: Sequence[Channel]
    faults: Sequence[tuple[Fault, FaultEntry]]
    bookings: Sequence[tuple[Booking, Occupancy]]
    samples: Sequence[Sample]
    slips: Sequence[Slip]
    """The openings since the cooldown before, the oldest first."""


def at(
    session: Session, cryostat: Cryostat, begin: datetime, end: datetime, chosen: Sheet | None = None
) -> Found:
    """What was inside at `end` and what went on since `begin`; `chosen` is the cooldown asked for."""
    assert cryostat.id is not None
    number = finding.revision_at(session, cryostat, end)
    steps = _steps(session, cryostat.id, end)
    puts = contents.elements(session, cryostat, number)
    sheet = chosen or _cooldown(session, cryostat, end)
    told = channels.of(session, cryostat.id)
    tags = {put.part for put in puts.values()} | {row.part for row in told}
    return Found(
        cryostat=cryostat,
        at=end,
        revision=next((row for row in steps if row.number == number), None),
        steps=steps,
        puts=puts,
        parts=_parts(session, tags - {""}),
        photographs=_photographs(session, cryostat, number),
        sheet=sheet,
        residuals=residual.of(session, sheet) if sheet else (),
        cold_pictures=pictures.of(session, sheet.cooldown) if sheet else (),
        channels=[row for row in told if row.made_at <= end],
        faults=_faults(session, cryostat.id, end),
        bookings=_bookings(session, cryostat.id, begin, end),
        samples=_samples(session, cryostat.id, number),
        slips=_slips(session, cryostat, sheet, end),
    )


def _steps(session: Session, cryostat_id: int, end: datetime) -> Sequence[Revision]:
    """The revisions done until then, the last twenty, oldest first."""
    query = select(Revision).where(Revision.cryostat_id == cryostat_id, col(Revision.done_at) <= end)
    return list(reversed(session.exec(query.order_by(col(Revision.number).desc()).limit(20)).all()))


def _cooldown(session: Session, cryostat: Cryostat, end: datetime) -> Sheet | None:
    """The cooldown that was going on."""
    query = select(Cooldown).where(
        Cooldown.cryostat_id == cryostat.id,
        col(Cooldown.begun_at) <= end,
        or_(col(Cooldown.ended_at).is_(None), col(Cooldown.ended_at) >= end),
    )
    row = session.exec(query.order_by(col(Cooldown.number).desc())).first()
    return finding.sheets(session, cryostat, [row])[0] if row else None


def _slips(session: Session, cryostat: Cryostat, sheet: Sheet | None, end: datetime) -> Sequence[Slip]:
    """Slips begun since the cooldown before this one began, and until then; the last ten, three queries."""
    earlier = select(func.max(Cooldown.begun_at)).where(
        Cooldown.cryostat_id == cryostat.id,
        col(Cooldown.begun_at) < (sheet.cooldown.begun_at if sheet else end),
    )
    since = session.exec(earlier).one()
    query = select(Opening).where(Opening.cryostat_id == cryostat.id, col(Opening.begun_at) <= end)
    if since is not None:
        query = query.where(col(Opening.begun_at) >= since)
    rows = session.exec(query.order_by(col(Opening.number).desc()).limit(MOST_SLIPS)).all()
    written = select(OpeningEntry).where(col(OpeningEntry.opening_id).in_([row.id for row in rows]))
    entries: dict[int, list[OpeningEntry]] = defaultdict(list)
    for entry in session.exec(written.order_by(col(OpeningEntry.id))).all():
        entries[entry.opening_id].append(entry)
    return [Slip(row, cryostat, tuple(entries[row.id or 0])) for row in reversed(rows)]


def _parts(session: Session, tags: set[str]) -> dict[str, Part]:
    rows = session.exec(select(Part).where(col(Part.tag).in_(sorted(tags)))).all()
    return {row.tag: row for row in rows}


def _photographs(session: Session, cryostat: Cryostat, number: int) -> Sequence[Shown]:
    return photographs.of_cryostat(session, cryostat, revision=number)


def _faults(session: Session, cryostat_id: int, end: datetime) -> list[tuple[Fault, FaultEntry]]:
    """Those that were open then, each with the step it stood at."""
    query = (
        select(Fault, FaultEntry)
        .join(FaultEntry, col(FaultEntry.fault_id) == Fault.id)
        .where(Fault.cryostat_id == cryostat_id, col(Fault.seen_at) <= end)
        .where(or_(col(FaultEntry.at) <= end, col(FaultEntry.at) == Fault.at))
    )
    newest = {
        fault.id: (fault, entry) for fault, entry in session.exec(query.order_by(col(FaultEntry.id))).all()
    }
    return [row for row in newest.values() if row[1].state in STILL_OPEN]


def _bookings(
    session: Session, cryostat_id: int, begin: datetime, end: datetime
) -> Sequence[tuple[Booking, Occupancy]]:
    query = (
        select(Booking, Occupancy)
        .join(Occupancy, col(Occupancy.id) == Booking.occupancy_id)
        .where(Booking.cryostat_id == cryostat_id)
        .where(col(Occupancy.starts) <= end, col(Occupancy.ends) >= begin)
    )
    return session.exec(query.order_by(col(Occupancy.starts))).all()


def _samples(session: Session, cryostat_id: int, number: int) -> list[Sample]:
    query = select(Sample).where(Sample.cryostat_id == cryostat_id, Sample.revision <= number)
    rows = session.exec(query.order_by(col(Sample.id))).all()
    out = select(SampleStep).where(
        col(SampleStep.sample_id).in_([row.id for row in rows]), SampleStep.what == TAKEN_OUT
    )
    gone = {step.sample_id: step.revision for step in session.exec(out).all()}
    return [row for row in rows if row.id not in gone or gone[row.id] > number]


def files(found: Found) -> list[tuple[str, StoredFile]]:
    """The images of a record, each with the name it gets in the archive."""
    inside = [(row.photograph.caption, row.file) for row in found.photographs if row.withdrawal is None]
    cold = [(row.picture.caption, row.file) for row in found.cold_pictures]
    return inside + cold
