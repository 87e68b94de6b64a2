"""Vibration records: a raw file of one sensor along one axis, checked by its content and kept as it came.

Analysis reads them by `samples`; nothing is worked out here.
"""

import wave
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from tokenize import TokenError

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session, col, select

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

UNITS = ("m/s2", "m/s", "m", "V")
AXES = ("x", "y", "z", "along the cooler", "other")
STANDINGS = ("on", "off", "not known")
MEDIA = {"text": "text/csv", "wav": "audio/wav", "npy": "application/octet-stream"}
FEWEST, MOST = 256, 20_000_000
SLOWEST_HZ, FASTEST_HZ = 0.1, 1e6
RATES_AGREE = 0.01
"""A rate that is typed and one that is in the file are the same within this share."""
LONGEST_PLACE = 120
AS_SPACES = str.maketrans(";\t,", "   ")
Samples = NDArray[np.float64]


@dataclass(frozen=True)
class About:
    """What a person says of a record; a rate of None is the file's own."""

    unit: str
    rate_Hz: float | None
    place: str
    axis: str
    cooler: str
    pump: str
    taken_at: datetime | None = None
    note: str = ""
    sent_name: str = ""


@dataclass(frozen=True)
class Content:
    """What a file holds: its form, its samples, and its rate where it says one."""

    form: str
    values: Samples
    rate_Hz: float | None = None


UNREADABLE = (ValueError, EOFError, SyntaxError, TokenError, MemoryError, OverflowError, wave.Error)
"""What the readers of the three forms raise over a file that is none."""


def opened(content: bytes) -> Content:
    """The samples of a file. Refused for what is no record of one sensor along one axis."""
    try:
        if content.startswith(b"RIFF"):
            found = _wav(content)
        elif content.startswith(b"\x93NUMPY"):
            found = _npy(content)
        else:
            found = _text(content)
    except UNREADABLE as problem:
        raise _not_kept(
            "This is no record that can be read: text in one or two columns, WAV or NPY"
        ) from problem
    if not FEWEST <= len(found.values) <= MOST:
        raise _not_kept(f"A record has from {FEWEST} to {MOST:,} samples; this one has {len(found.values):,}")
    if not np.isfinite(found.values).all():
        raise _not_kept("The record has samples that are no number")
    if found.values.min() == found.values.max():
        raise _not_kept("Every sample is the same: was the sensor plugged in?")
    return found


def _not_kept(text: str) -> Refused:
    return Refused("The record was not kept.", {"file": text})


def _wav(content: bytes) -> Content:
    with wave.open(BytesIO(content)) as file:
        if file.getnchannels() != 1:
            raise _not_kept("Send one sensor and one axis at a time; this file has several channels")
        width, raw = file.getsampwidth(), file.readframes(file.getnframes())
        rate_Hz = float(file.getframerate())
    if width not in (2, 3, 4):
        raise _not_kept("A WAV of 16, 24 or 32 bits can be read")
    if width == 3:
        wide = np.zeros((len(raw) // 3, 4), np.uint8)
        wide[:, 1:] = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        return Content("wav", wide.view("<i4").ravel() / 2.0**31, rate_Hz)
    return Content("wav", np.frombuffer(raw, f"<i{width}") / 2.0 ** (8 * width - 1), rate_Hz)


def _npy(content: bytes) -> Content:
    values = np.load(BytesIO(content), allow_pickle=False)
    if values.ndim != 1 or values.dtype.kind not in "fiu":
        raise _not_kept("The array must be one row of numbers")
    return Content("npy", values.astype(np.float64))


def _text(content: bytes) -> Content:
    lines = [line.partition("#")[0].translate(AS_SPACES) for line in content.decode("utf-8-sig").splitlines()]
    said = [line for line in lines if line.strip()]
    if len(said) < FEWEST:
        raise _not_kept(f"This is no record: text has a sample on each of at least {FEWEST} lines")
    table = np.loadtxt(said, comments=None, ndmin=2)
    if table.shape[1] == 1:
        return Content("text", table[:, 0])
    if table.shape[1] != 2:
        raise _not_kept("Send one column of samples, or time and sample in two")
    steps = np.diff(table[:, 0])
    if not len(steps) or steps.min() <= 0 or steps.max() > 1.5 * float(np.median(steps)):
        raise _not_kept("The times of the first column must rise in even steps")
    return Content("text", table[:, 1], float(len(steps) / (table[-1, 0] - table[0, 0])))


def keep(
    session: Session,
    home: Path,
    person: Person,
    cryostat: Cryostat,
    content: bytes,
    about: About,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> VibrationRecord:
    """Keep a record with what was said of it; Refused with the fields to mend."""
    guards.need(session, person, cryostat, OPERATE)
    found = opened(content)
    wrong = _faults(about, found, now) | dict(unread or {})
    if wrong:
        raise Refused("The record was not kept.", wrong)
    file = files.keep(session, home, Clean(content, MEDIA[found.form]), now)
    assert cryostat.id is not None
    assert file.id is not None
    row = VibrationRecord(
        cryostat_id=cryostat.id,
        revision=cryostat.revision,
        file_id=file.id,
        sent_name=about.sent_name,
        form=found.form,
        unit=about.unit,
        rate_Hz=about.rate_Hz or found.rate_Hz or 0.0,
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
    line = f"Vibration record kept: {row.place}, {row.axis}, {row.samples:,} samples"
    history.note(session, person, f"cryostat/{cryostat.slug}", line, now)
    return row


def _faults(about: About, found: Content, now: datetime) -> dict[str, str]:
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
    return wrong | _rate_faults(about.rate_Hz, found.rate_Hz)


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


def samples(session: Session, home: Path, row: VibrationRecord) -> Samples:
    """The samples of a record, in its unit; those of a WAV are shares of its full scale."""
    file = session.get(StoredFile, row.file_id)
    assert file is not None
    return opened(store.get(home, file.digest)).values
