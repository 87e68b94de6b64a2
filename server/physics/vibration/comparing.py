"""One vibration measurement beside another, band by band."""

from dataclasses import dataclass

import numpy as np

from server.physics.statistics import Band
from server.physics.vibration.octaves import ThirdOctave, third_octaves
from server.physics.vibration.spectra import Spectrum

SHARE = 0.95
LINES_IN_ONE = 1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0)
"""Powers of neighbouring lines under a Hann window correlate by 4/9, of the next ones by 1/36."""


@dataclass(frozen=True)
class Beside:
    """One band now and at the baseline.

    `change_dB` is 20 log10 of now over baseline, with its central 95 % band where both spectra say how many
    stretches they averaged; None where a band is missing. `told_apart` is True when zero lies outside.
    """

    nominal_Hz: float
    now_m_s: float | None
    baseline_m_s: float | None
    change_dB: Band | None
    told_apart: bool | None


def degrees_of_freedom(spectrum: Spectrum, band: ThirdOctave) -> float | None:
    """How many independent squares a band's power is the mean of, for noise.

    Parameters
    ----------
    spectrum : Spectrum
        What the band was taken from.
    band : ThirdOctave
        One of its bands.

    Returns
    -------
    float or None
        [1] two per independent line and stretch; None where the number of stretches is not known.

    Raises
    ------
    Unphysical
        Never for bands from `third_octaves`.

    Examples
    --------
    >>> import numpy as np
    >>> from server.physics.vibration.octaves import third_octaves
    >>> from server.physics.vibration.spectra import power_density
    >>> noise = power_density("velocity", np.random.default_rng(2).normal(size=64 * 640), 64.0)
    >>> round(degrees_of_freedom(noise, third_octaves(noise)[10]))
    2810

    References
    ----------
    Bendat and Piersol, Random Data: Analysis and Measurement Procedures, chapter 8; from memory.
    """
    if spectrum.averages is None:
        return None
    lines = (band.high_Hz - band.low_Hz) / (LINES_IN_ONE * spectrum.step_Hz)
    return 2.0 * spectrum.averages * max(lines, 1.0)


def beside(now: Spectrum, baseline: Spectrum) -> tuple[Beside, ...]:
    """Each one-third octave now beside the baseline.

    Parameters
    ----------
    now, baseline : Spectrum
        Of any motions.

    Returns
    -------
    tuple of Beside
        Twenty bands. The band of a change is that of the ratio of two mean squares of noise (an F
        distribution); a tone repeats better than noise, so for tones it is too wide.

    Raises
    ------
    Unphysical
        When one of the spectra covers none of the bands.

    Examples
    --------
    >>> import numpy as np
    >>> from server.physics.vibration.spectra import spectrum_of_density
    >>> f = np.arange(0.0, 100.0, 0.1)
    >>> low, high = (spectrum_of_density("velocity", f, np.full(1000, p)) for p in (1e-12, 1e-10))
    >>> round(beside(high, low)[10].change_dB.best, 6)
    20.0
    """
    pairs = zip(third_octaves(now), third_octaves(baseline), strict=True)
    return tuple(_one(now, baseline, here, there) for here, there in pairs)


def _one(now: Spectrum, baseline: Spectrum, here: ThirdOctave, there: ThirdOctave) -> Beside:
    if not here.velocity_m_s or not there.velocity_m_s:
        return Beside(here.nominal_Hz, here.velocity_m_s, there.velocity_m_s, None, None)
    best = 20.0 * float(np.log10(here.velocity_m_s / there.velocity_m_s))
    spread = _spread_dB(degrees_of_freedom(now, here), degrees_of_freedom(baseline, there))
    if spread is None:
        only = Band(best, best, best)
        return Beside(here.nominal_Hz, here.velocity_m_s, there.velocity_m_s, only, None)
    change = Band(best - spread[1], best, best - spread[0])
    apart = not best - spread[1] <= 0.0 <= best - spread[0]
    return Beside(here.nominal_Hz, here.velocity_m_s, there.velocity_m_s, change, apart)


def _spread_dB(now: float | None, baseline: float | None) -> tuple[float, float] | None:
    """Between which decibels the ratio of two equal powers lies by chance, for the central 95 %."""
    if now is None or baseline is None:
        return None
    from scipy import stats  # noqa: PLC0415  (0.4 s to load, needed by few pages)

    tail = 0.5 * (1.0 - SHARE)
    low, high = stats.f.ppf((tail, 1.0 - tail), now, baseline)
    return 10.0 * float(np.log10(low)), 10.0 * float(np.log10(high))
