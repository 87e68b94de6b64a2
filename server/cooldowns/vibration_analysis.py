"""What one kept record says: its spectrum, bands, tones; beside a baseline; and what each change brought."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlmodel import Session, col, select

from server.cooldowns import vibration_records
from server.cooldowns.vibration_records_models import VibrationRecord
from server.cryostats.models import Cryostat
from server.physics.errors import PhysicsError
from server.physics.vibration import (
    Beside,
    Motion,
    Spectrum,
    ThirdOctave,
    Tone,
    as_motion,
    beside,
    power_density,
    rms_between,
    third_octaves,
    tones,
)

MOTIONS: dict[str, Motion] = {"m/s2": "acceleration", "m/s": "velocity", "m": "displacement"}
CHAIN = 12
"""So many records at the same place are set beside each other."""
LEAST_HZ, MOST_HZ = 1.0, 200.0
"""Between these a displacement is told where nobody asks for another band (common practice, no source)."""


@dataclass(frozen=True)
class Heard:
    """One record analysed; `gap` says why there is no spectrum, or no bands."""

    record: VibrationRecord
    spectrum: Spectrum | None
    gap: str = ""


@dataclass(frozen=True)
class Analysis:
    """A record, what was made of it, the one it is set beside, and the chain at its place, oldest first."""

    heard: Heard
    bands: tuple[ThirdOctave, ...]
    tones: tuple[Tone, ...]
    baseline: VibrationRecord | None
    beside: tuple[Beside, ...]
    baseline_bands: tuple[ThirdOctave, ...]
    chain: tuple[tuple[VibrationRecord, float | None], ...]
    band_Hz: tuple[float, float]


def heard(session: Session, home: Path, record: VibrationRecord) -> Heard:
    """The spectrum of a record."""
    if record.unit not in MOTIONS:
        return Heard(
            record, None, "It is in volts: without the sensor's sensitivity nothing can be said in metres."
        )
    try:
        values = vibration_records.samples(session, home, record)
        return Heard(record, power_density(MOTIONS[record.unit], values, record.rate_Hz))
    except (PhysicsError, OSError) as problem:
        return Heard(record, None, str(problem))


def of(
    session: Session,
    home: Path,
    cryostat: Cryostat,
    record: VibrationRecord,
    against: int | None,
    band_Hz: tuple[float, float],
) -> Analysis:
    """The analysis of a record beside another: `against`, or the first at the same place and axis."""
    here = heard(session, home, record)
    others = _chain(session, cryostat, record)
    baseline = vibration_records.find(session, cryostat, against) if against else others[0]
    there = None if baseline.id == record.id else heard(session, home, baseline)
    bands = _bands(here.spectrum)
    before = _bands(there.spectrum) if there else ()
    told: tuple[Beside, ...] = ()
    if here.spectrum is not None and there and there.spectrum is not None and bands and before:
        told = beside(here.spectrum, there.spectrum)
    chain = [(row, displacement_m(heard(session, home, row).spectrum, band_Hz)) for row in others]
    found = tones(as_motion(here.spectrum, "velocity")) if here.spectrum is not None else ()
    return Analysis(here, bands, found, baseline if there else None, told, before, tuple(chain), band_Hz)


def _chain(session: Session, cryostat: Cryostat, record: VibrationRecord) -> Sequence[VibrationRecord]:
    query = select(VibrationRecord).where(
        VibrationRecord.cryostat_id == cryostat.id,
        VibrationRecord.place == record.place,
        VibrationRecord.axis == record.axis,
        VibrationRecord.cooler == record.cooler,
    )
    order = (col(VibrationRecord.taken_at).desc(), col(VibrationRecord.id).desc())
    return list(reversed(session.exec(query.order_by(*order).limit(CHAIN)).all())) or [record]


def _bands(spectrum: Spectrum | None) -> tuple[ThirdOctave, ...]:
    if spectrum is None:
        return ()
    try:
        return third_octaves(spectrum)
    except PhysicsError:
        return ()


def displacement_m(spectrum: Spectrum | None, band_Hz: tuple[float, float]) -> float | None:
    """The displacement between two frequencies, as far as the record reaches; None where it does not."""
    if spectrum is None:
        return None
    low_Hz = max(band_Hz[0], float(spectrum.frequency_Hz[1]))
    high_Hz = min(band_Hz[1], float(spectrum.frequency_Hz[-1]))
    try:
        return rms_between(as_motion(spectrum, "displacement"), low_Hz, high_Hz)
    except PhysicsError:
        return None
