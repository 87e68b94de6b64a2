"""Is it quiet: power densities, one-third octaves, generic criteria, tones, and before beside after."""

from server.physics.vibration.comparing import Beside, beside, degrees_of_freedom
from server.physics.vibration.criteria import Judged, LEVELS_m_s, best_met, criterion_m_s, judged
from server.physics.vibration.octaves import ThirdOctave, middle_of_band_Hz, third_octaves
from server.physics.vibration.spectra import (
    NARROWEST_LINES,
    Motion,
    Spectrum,
    as_motion,
    power_density,
    rms_between,
    spectrum_of_density,
)
from server.physics.vibration.tones import Tone, tones

__all__ = [
    "NARROWEST_LINES",
    "Beside",
    "Judged",
    "LEVELS_m_s",
    "Motion",
    "Spectrum",
    "ThirdOctave",
    "Tone",
    "as_motion",
    "beside",
    "best_met",
    "criterion_m_s",
    "degrees_of_freedom",
    "judged",
    "middle_of_band_Hz",
    "power_density",
    "rms_between",
    "spectrum_of_density",
    "third_octaves",
    "tones",
]
