"""What one kept record says: its spectrum, bands, tones; beside a baseline; and what each change brought."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlmodel import Session, col, select

from server.checklists import service as checklists
from server.checklists.models import Checklist
from server.checklists.rules import Standing
from server.cooldowns import vibration_records
from server.cooldowns.vibration_records_models import VibrationRecord
from server.cryostats.models import Cryostat
from server.errors import Refused
from server.physics.errors import PhysicsError
from server.physics.vibration import (
    Beside,
    Spectrum,
    ThirdOctave,
    Tone,
    as_motion,
    beside,
    rms_between,
    third_octaves,
    tones,
)

WALK = "vibration-installation"
NO_AVERAGES = (
    "It was sent as a spectrum: how many stretches were averaged is not known, so no change of a band has a "
    "range, and nothing says whether it changed by more than chance."
)
NO_KNOCKS = "Single knocks and slow changes during the measurement cannot be seen in a spectrum."
CHAIN = 12
"""So many records at the same place are set beside each other."""
DRIFT_LINES = 2.5
"""The window spreads mean and drift of a record over its first two lines: no displacement is read there."""
LEAST_HZ, MOST_HZ = 1.0, 200.0
"""Between these a displacement is told where nobody asks for another band (common practice, no source)."""


@dataclass(frozen=True)
class Heard:
    """One record analysed; `gap` says why there is no spectrum, `gaps` what its spectrum cannot say."""

    record: VibrationRecord
    spectrum: Spectrum | None
    gap: str = ""
    gaps: tuple[str, ...] = ()


@dataclass(frozen=True)
class Walk:
    """The installation walk that was begun last before a record was taken, and where it stands."""

    checklist: Checklist
    standing: Standing


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
    walk: Walk | None = None


def heard(session: Session, home: Path, record: VibrationRecord) -> Heard:
    """The spectrum of a record."""
    try:
        found = vibration_records.spectrum(session, home, record)
    except (PhysicsError, Refused, OSError) as problem:
        return Heard(record, None, str(problem))
    if found is None:
        words = "It is in volts: without the sensor's sensitivity nothing can be said in metres."
        return Heard(record, None, words)
    return Heard(record, found, gaps=_gaps(record, found))


def _gaps(record: VibrationRecord, spectrum: Spectrum) -> tuple[str, ...]:
    """What a spectrum leaves open, in sentences."""
    said = []
    if record.form == "spectrum":
        said += [NO_AVERAGES, NO_KNOCKS]
        if record.bandwidth_Hz is None:
            said.append(
                "The bandwidth of its window was not said: bands are told as if lines "
                f"{spectrum.step_Hz:.3g} Hz apart were the whole truth; tones nearer together may be one."
            )
    if record.form == "wav":
        said.append("A sound file does not say its full scale: changes hold, levels do not.")
    missing = [f"{band.nominal_Hz:g}" for band in _bands(spectrum) if band.velocity_m_s is None]
    if missing:
        said.append(
            f"No level in the bands at {', '.join(missing)} Hz: the record does not reach them, or they are "
            f"narrower than what it tells apart ({spectrum.resolution_Hz:.3g} Hz)."
        )
    return tuple(said)


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
    return Analysis(
        here,
        bands,
        found,
        baseline if there else None,
        told,
        before,
        tuple(chain),
        band_Hz,
        walk(session, cryostat, record),
    )


def walk(session: Session, cryostat: Cryostat, record: VibrationRecord) -> Walk | None:
    """The installation walk begun last before this record was taken; None for never."""
    query = select(Checklist).where(
        Checklist.cryostat_id == cryostat.id,
        Checklist.list_key == WALK,
        Checklist.at <= record.taken_at,
    )
    row = session.exec(query.order_by(col(Checklist.at).desc(), col(Checklist.id).desc()).limit(1)).first()
    return None if row is None else Walk(row, checklists.standing(session, row.id or 0))


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


def reach_Hz(spectrum: Spectrum, band_Hz: tuple[float, float]) -> tuple[float, float]:
    """What of a band a spectrum can speak of; empty where the first is not below the second."""
    first, last = float(spectrum.frequency_Hz[0]), float(spectrum.frequency_Hz[-1])
    begin = DRIFT_LINES * spectrum.step_Hz if first == 0.0 else first - 0.5 * spectrum.step_Hz
    return max(band_Hz[0], begin), min(band_Hz[1], last)


def displacement_m(spectrum: Spectrum | None, band_Hz: tuple[float, float]) -> float | None:
    """The displacement between two frequencies, as far as the record reaches; None where it does not."""
    if spectrum is None:
        return None
    try:
        return rms_between(as_motion(spectrum, "displacement"), *reach_Hz(spectrum, band_Hz))
    except PhysicsError:
        return None
