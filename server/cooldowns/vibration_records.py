"""Vibration records: a file of one sensor along one axis, samples or a spectrum, kept as it came.

Analysis reads them by `content`; nothing is worked out here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from sqlmodel import Session, col, select

from server.cooldowns import vibration_files
from server.cooldowns.vibration_files import LINES, MOTIONS, SPECTRA, UNITS, Content
from server.cooldowns.vibration_records_models import VibrationRecord
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import EARLIEST_YEAR, OPERATE, text_faults
from server.errors import NotFound, Refused
from server.files import service as files
from server.files import store
from server.files.models import StoredFile
from server.files.pictures import Clean
from server.history import service as history
from server.people.models import Person
from server.physics.vibration import NARROWEST_LINES, Spectrum, power_density, spectrum_of_density

AXES = ("x", "y", "z", "along the cooler", "other")
STANDINGS = ("on", "off", "not known")
MEDIA = {"spectrum": "text/csv", "text": "text/csv", "wav": "audio/wav", "npy": "application/octet-stream"}
SLOWEST_HZ, FASTEST_HZ = 0.1, 1e6
RATES_AGREE = 0.01
"""A rate that is typed and one that is in the file are the same within this share."""
LONGEST_PLACE = 120


@dataclass(frozen=True)
class About:
    """What a person says of a record; a rate of None is the file's own.

    `bandwidth_Hz` is the noise bandwidth of a spectrum's window, None where nobody knows it.
    """

    unit: str
    rate_Hz: float | None
    place: str
    axis: str
    cooler: str
    pump: str
    taken_at: datetime | None = None
    note: str = ""
    sent_name: str = ""
    bandwidth_Hz: float | None = None


def keep(
    session: Session,
    home: Path,
    person: Person,
    cryostat: Cryostat,
    found: Content | None,
    about: About,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> VibrationRecord:
    """Keep a record with what was said of it; Refused with the fields to mend.

    The file was opened before the session was: no content, with what is wrong of it in `unread`.
    """
    guards.need(session, person, cryostat, OPERATE)
    wrong = _faults(about, found, now) | dict(unread or {})
    if wrong or found is None:
        raise Refused("The record was not kept.", wrong)
    file = files.keep(session, home, Clean(found.raw, MEDIA[found.form]), now)
    assert cryostat.id is not None
    assert file.id is not None
    row = VibrationRecord(
        cryostat_id=cryostat.id,
        revision=cryostat.revision,
        file_id=file.id,
        sent_name=about.sent_name,
        form=found.form,
        unit=about.unit,
        rate_Hz=0.0 if found.form == "spectrum" else about.rate_Hz or found.rate_Hz or 0.0,
        bandwidth_Hz=about.bandwidth_Hz,
        samples=len(found.values),
        low=float(found.values.min()),
        high=float(found.values.max()),
        place=about.place.strip(),
        axis=about.axis,
        cooler=about.cooler,
        pump=about.pump,
        taken_at=about.taken_at or now,
        note=about.note,
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    line = f"Vibration record kept: {row.place}, {row.axis}, {size_words(row)}"
    history.note(session, person, f"cryostat/{cryostat.slug}", line, now)
    return row


def size_words(row: VibrationRecord) -> str:
    """How much it holds, in words."""
    if row.form == "spectrum":
        return f"spectrum of {row.samples:,} lines"
    return f"{row.samples:,} samples at {row.rate_Hz:.6g} Hz"


def _faults(about: About, found: Content | None, now: datetime) -> dict[str, str]:
    wrong = text_faults("place", "the place", about.place, LONGEST_PLACE)
    wrong |= text_faults("note", "the note", about.note, 2000)
    if not about.place.strip():
        wrong["place"] = "Enter where the sensor stood, such as platform, beside the sample"
    choices: list[tuple[str, str, tuple[str, ...]]] = [
        ("unit", about.unit, UNITS),
        ("axis", about.axis, AXES),
        ("cooler", about.cooler, STANDINGS),
        ("pump", about.pump, STANDINGS),
    ]
    wrong |= {
        name: f"Choose one of {', '.join(known)}" for name, value, known in choices if value not in known
    }
    taken = about.taken_at
    if taken is not None and (taken > now + timedelta(minutes=5) or taken.year < EARLIEST_YEAR):
        wrong["taken_at"] = "Enter when it was taken"
    return wrong | (_content_faults(about, found) if found is not None else {})


def _content_faults(about: About, found: Content) -> dict[str, str]:
    if found.frequency_Hz is not None:
        return _bandwidth_faults(about, float(np.diff(found.frequency_Hz).mean()))
    if about.bandwidth_Hz is not None:
        return {"bandwidth_Hz": "Leave it empty: only a spectrum has the bandwidth of a window"}
    return _rate_faults(about.rate_Hz, found.rate_Hz)


def _bandwidth_faults(about: About, step_Hz: float) -> dict[str, str]:
    if about.rate_Hz is not None:
        return {"rate_Hz": "Leave it empty: a spectrum has no rate"}
    if about.bandwidth_Hz is None:
        words = "Enter the bandwidth: without it a line says nothing of its density"
        return {"bandwidth_Hz": words} if about.unit in LINES else {}
    if not NARROWEST_LINES * step_Hz <= about.bandwidth_Hz <= FASTEST_HZ:
        return {"bandwidth_Hz": f"Enter one no narrower than the {step_Hz:.4g} Hz from line to line"}
    return {}


def _rate_faults(said_Hz: float | None, own_Hz: float | None) -> dict[str, str]:
    rate_Hz = said_Hz if said_Hz is not None else own_Hz
    if rate_Hz is None:
        return {"rate_Hz": "Enter the rate: this file does not say it"}
    if not SLOWEST_HZ <= rate_Hz <= FASTEST_HZ:
        return {"rate_Hz": "Enter a rate between 0.1 Hz and 1 MHz"}
    if said_Hz and own_Hz and abs(said_Hz - own_Hz) > RATES_AGREE * own_Hz:
        return {"rate_Hz": f"The file itself says {own_Hz:.6g} Hz; which is right?"}
    return {}


def of(
    session: Session, cryostat: Cryostat, limit: int = 100
) -> Sequence[tuple[VibrationRecord, StoredFile]]:
    """The records of a cryostat with their files, the newest first."""
    query = (
        select(VibrationRecord, StoredFile)
        .join(StoredFile, col(StoredFile.id) == VibrationRecord.file_id)
        .where(VibrationRecord.cryostat_id == cryostat.id)
        .order_by(col(VibrationRecord.id).desc())
    )
    return session.exec(query.limit(limit)).all()


def find(session: Session, cryostat: Cryostat, number: int) -> VibrationRecord:
    """One record of this cryostat; NotFound."""
    row = session.get(VibrationRecord, number) if 0 < number < 2**31 else None
    if row is None or row.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such vibration record.")
    return row


def content(session: Session, home: Path, row: VibrationRecord) -> Content:
    """What a record holds, in its unit; samples of a WAV are shares of its full scale."""
    file = session.get(StoredFile, row.file_id)
    assert file is not None
    return vibration_files.opened(store.get(home, file.digest), row.unit)


def spectrum(session: Session, home: Path, row: VibrationRecord) -> Spectrum | None:
    """Its spectrum, computed or as it was sent; None for volts. PhysicsError for what is none."""
    found = content(session, home, row) if row.unit in MOTIONS or row.unit in SPECTRA else None
    if found is None:
        return None
    if found.frequency_Hz is None:
        return power_density(MOTIONS[row.unit], found.values, row.rate_Hz)
    per_line_Hz = row.bandwidth_Hz if row.unit in LINES else None
    density = found.values**2 / (per_line_Hz or 1.0)
    return spectrum_of_density(SPECTRA[row.unit], found.frequency_Hz, density, row.bandwidth_Hz)
