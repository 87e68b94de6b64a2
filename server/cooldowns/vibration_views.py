"""What the page of one vibration record shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.cooldowns import vibration_drawing, vibration_words
from server.cooldowns.vibration_analysis import Analysis, reach_Hz
from server.cooldowns.vibration_drawing import Line, LogLog
from server.cooldowns.vibration_records_models import VibrationRecord
from server.cryostats.models import Cryostat
from server.physics.vibration import LEVELS_m_s, ThirdOctave, best_met, criterion_m_s, judged
from server.units import in_unit, show_band
from server.web.tabular import Figure, Style, written

UM, NM = 1e6, 1e9


@dataclass(frozen=True)
class BandRow:
    """One one-third octave: now, at the baseline, and the change."""

    middle: str
    now: str
    before: str
    change: str
    apart: bool


@dataclass(frozen=True)
class Step:
    """One record of the chain: its displacement, and what the change before it brought."""

    record: VibrationRecord
    size: str
    brought: str


@dataclass(frozen=True)
class VibrationView:
    """The page of a record."""

    cryostat: Cryostat
    record: VibrationRecord
    analysis: Analysis
    spectrum: LogLog | None
    octaves: LogLog | None
    bands: Sequence[BandRow]
    met: str
    tones: Sequence[tuple[str, str, str]]
    displacement: str
    reach: str
    steps: Sequence[Step]
    curves: Sequence[tuple[str, str]]
    gap: str
    answer: Sequence[str]
    following: str
    faults: Mapping[str, str]
    typed: Mapping[str, str]


def page(
    cryostat: Cryostat, found: Analysis, zone: str, faults: Mapping[str, str], typed: Mapping[str, str]
) -> VibrationView:
    """A record in words and drawings."""
    here = next((size for row, size in found.chain if row.id == found.heard.record.id), None)
    return VibrationView(
        cryostat=cryostat,
        record=found.heard.record,
        analysis=found,
        spectrum=spectrum_drawing(found),
        octaves=octaves_drawing(found),
        bands=_bands(found),
        met=best_met(found.bands) or "" if found.bands else "",
        tones=[
            (in_unit(t.frequency_Hz, "Hz"), f"{t.rms * UM:.3g} µm/s", f"{t.above_floor_dB:.0f} dB")
            for t in found.tones
        ],
        displacement=nanometres(here),
        reach=_reach(found),
        steps=_steps(found),
        curves=[(level, _judged(found.bands, level)) for level in LEVELS_m_s] if found.bands else [],
        gap=found.heard.gap,
        answer=vibration_words.answer(found, zone),
        following=vibration_words.following(found, found.walk),
        faults=faults,
        typed=typed,
    )


def _reach(found: Analysis) -> str:
    """Of which part of the band asked for the displacement is told."""
    if found.heard.spectrum is None:
        return ""
    low_Hz, high_Hz = reach_Hz(found.heard.spectrum, found.band_Hz)
    return f"{in_unit(low_Hz, 'Hz')} to {in_unit(high_Hz, 'Hz')}" if low_Hz < high_Hz else "nothing of it"


def bands_table(found: Analysis, style: Style) -> str:
    """The one-third octaves and the baseline's, SI, as a table; an empty cell is not known."""
    head = ["nominal_Hz", "low_Hz", "high_Hz", "velocity_m_s", "baseline_m_s"]
    head += ["change_dB", "change_low_dB", "change_high_dB", *(f"{level}_m_s" for level in LEVELS_m_s)]
    before = {row.nominal_Hz: row for row in found.beside}
    rows = []
    for band in found.bands:
        other = before.get(band.nominal_Hz)
        change = other.change_dB if other else None
        ranged = change if other and other.told_apart is not None else None
        numbers = [band.nominal_Hz, band.low_Hz, band.high_Hz, band.velocity_m_s]
        numbers += [other.baseline_m_s if other else None, change.best if change else None]
        numbers += [ranged.low if ranged else None, ranged.high if ranged else None]
        rows.append(
            [_figure(one) for one in numbers + [criterion_m_s(c, band.nominal_Hz) for c in LEVELS_m_s]]
        )
    return written(head, rows, style)


def spectrum_table(found: Analysis, style: Style) -> str:
    """The amplitude density of the record, in the motion it was measured in, as a table."""
    spectrum = found.heard.spectrum
    if spectrum is None:
        return written(["frequency_Hz"], [], style)
    unit = {"acceleration": "m_s2", "velocity": "m_s", "displacement": "m"}[spectrum.motion]
    pairs = zip(spectrum.frequency_Hz.tolist(), np.sqrt(spectrum.density).tolist(), strict=True)
    rows = ([_figure(frequency), _figure(amplitude)] for frequency, amplitude in pairs)
    return written(["frequency_Hz", f"{spectrum.motion}_{unit}_per_root_Hz"], rows, style)


def tones_table(found: Analysis, style: Style) -> str:
    """The tones, strongest first, as a table."""
    rows = [[_figure(t.frequency_Hz), _figure(t.rms), _figure(t.above_floor_dB)] for t in found.tones]
    return written(["frequency_Hz", "velocity_m_s", "above_floor_dB"], rows, style)


def _figure(value: float | None) -> Figure:
    return Figure("" if value is None else f"{value:.6g}")


def nanometres(size_m: float | None) -> str:
    """A displacement in nm, or a dash."""
    return "–" if size_m is None else f"{size_m * NM:.3g} nm"


def _judged(bands: tuple[ThirdOctave, ...], level: str) -> str:
    told = judged(bands, level)
    if told.met is None:
        return "cannot be judged: bands are missing"
    worst = (
        f"{told.worst_ratio:.2g} of it at {told.worst_Hz:g} Hz" if told.worst_ratio and told.worst_Hz else ""
    )
    return f"{'met' if told.met else 'not met'}: {worst}"


def spectrum_drawing(found: Analysis) -> LogLog | None:
    """The amplitude density by decades; None where there is none."""
    spectrum = found.heard.spectrum
    if spectrum is None:
        return None
    unit = {"acceleration": "µm/s²", "velocity": "µm/s", "displacement": "µm"}[spectrum.motion]
    line = Line("this record", spectrum.frequency_Hz, np.sqrt(spectrum.density) * UM, "line-0")
    return vibration_drawing.draw([line], f"{spectrum.motion.capitalize()}, {unit} per √Hz")


def octaves_drawing(found: Analysis) -> LogLog | None:
    """The one-third octaves, the baseline's and the generic curves; None without a band."""
    if not found.bands:
        return None
    lines = [
        _octave_line("this record", found.bands, "line-0"),
        _octave_line("baseline", found.baseline_bands, "line-1"),
    ]
    frequency = np.array([band.nominal_Hz for band in found.bands])
    for level in LEVELS_m_s:
        allowed = np.array([criterion_m_s(level, one) or 0.0 for one in frequency.tolist()])
        lines.append(Line(level, frequency, allowed * UM, "line-6"))
    return vibration_drawing.draw(lines, "Velocity in each one-third octave, µm/s rms")


def _octave_line(label: str, bands: Sequence[ThirdOctave], look: str) -> Line:
    seen = [band for band in bands if band.velocity_m_s]
    values = np.array([(band.velocity_m_s or 0.0) * UM for band in seen])
    return Line(label, np.array([band.nominal_Hz for band in seen]), values, look)


def _bands(found: Analysis) -> list[BandRow]:
    before = {row.nominal_Hz: row for row in found.beside}
    rows = []
    for band in found.bands:
        other = before.get(band.nominal_Hz)
        rows.append(
            BandRow(
                middle=f"{band.nominal_Hz:g} Hz",
                now=_speed(band.velocity_m_s),
                before=_speed(other.baseline_m_s) if other else "–",
                change=f"{show_band(other.change_dB, '', signed=True)} dB"
                if other and other.change_dB
                else "–",
                apart=bool(other and other.told_apart),
            )
        )
    return rows


def _speed(velocity_m_s: float | None) -> str:
    return "–" if velocity_m_s is None else f"{velocity_m_s * UM:.3g} µm/s"


def _steps(found: Analysis) -> list[Step]:
    """Each record with what the change before it brought; changes are what its note says."""
    rows, last = [], None
    for record, size in found.chain:
        brought = ""
        if last and size:
            brought = f"{nanometres(last)} → {nanometres(size)} ({100 * (size / last - 1):+.0f} %)".replace(
                "-", "−"
            )
        rows.append(Step(record, nanometres(size), brought))
        last = size or last
    return rows
