"""One-third octaves, base ten, from 1 to 80 Hz."""

from dataclasses import dataclass

import numpy as np

from server.physics.errors import Unphysical
from server.physics.vibration.spectra import Spectrum, as_motion, width_inside_Hz

EDGE = 10.0 ** (1.0 / 20.0)
"""Ratio of the upper edge of a band to its middle."""
FIRST, LAST = 0, 19
"""Bands are numbered from the one at 1 Hz; the last is called 80 Hz."""
NOMINAL_HZ = (
    *(1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0),
    *(10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0),
)


@dataclass(frozen=True)
class ThirdOctave:
    """The root mean square velocity in one band.

    `nominal_Hz` is what the band is called, `middle_Hz`, `low_Hz` and `high_Hz` are exact; `velocity_m_s` is
    None where the spectrum does not reach or does not resolve the band.
    """

    nominal_Hz: float
    middle_Hz: float
    low_Hz: float
    high_Hz: float
    velocity_m_s: float | None


def middle_of_band_Hz(number: int) -> float:
    """The exact middle frequency of a one-third octave.

    Parameters
    ----------
    number : int
        0 is the band at 1 Hz, 10 that at 10 Hz.

    Returns
    -------
    float
        [Hz] middle frequency.

    Raises
    ------
    Unphysical
        When there is no such band from 1 to 80 Hz.

    Examples
    --------
    >>> round(middle_of_band_Hz(15), 3)
    31.623

    References
    ----------
    IEC 61260-1, Electroacoustics: octave-band and fractional-octave-band filters, base ten.
    """
    if not FIRST <= number <= LAST:
        raise Unphysical(f"number must lie from {FIRST} to {LAST}.")
    return float(10.0 ** (number / 10.0))


def third_octaves(spectrum: Spectrum) -> tuple[ThirdOctave, ...]:
    """The velocity in each one-third octave from 1 to 80 Hz.

    The power of lines inside a band is added, a line across an edge by the share on either side. A tone near
    an edge therefore stands partly in the neighbouring band: tones are listed apart by `tones`.

    Parameters
    ----------
    spectrum : Spectrum
        Of any motion.

    Returns
    -------
    tuple of ThirdOctave
        Twenty bands; None for the velocity where the spectrum does not cover or resolve the band.

    Raises
    ------
    Unphysical
        When the spectrum covers none of the bands.

    Examples
    --------
    >>> import numpy as np
    >>> from server.physics.vibration.spectra import spectrum_of_density
    >>> flat = spectrum_of_density("velocity", np.arange(0.0, 100.0, 0.1), np.full(1000, 1e-12))
    >>> [band.nominal_Hz for band in third_octaves(flat)][-1]
    80.0

    References
    ----------
    IEC 61260-1, Electroacoustics: octave-band and fractional-octave-band filters, base ten.
    """
    velocity = as_motion(spectrum, "velocity")
    bands = tuple(_band(velocity, number) for number in range(FIRST, LAST + 1))
    if all(band.velocity_m_s is None for band in bands):
        raise Unphysical("The spectrum covers none of the bands from 1 to 80 Hz.")
    return bands


def _band(velocity: Spectrum, number: int) -> ThirdOctave:
    middle = middle_of_band_Hz(number)
    low, high = middle / EDGE, middle * EDGE
    return ThirdOctave(NOMINAL_HZ[number], middle, low, high, _rms(velocity, low, high))


def _rms(velocity: Spectrum, low_Hz: float, high_Hz: float) -> float | None:
    # A band narrower than the window's bandwidth cannot be told from its neighbour.
    resolved = high_Hz - low_Hz >= velocity.resolution_Hz
    if not resolved or low_Hz < _first_Hz(velocity) or high_Hz > velocity.frequency_Hz[-1]:
        return None
    return float(np.sqrt(np.sum(velocity.density * width_inside_Hz(velocity, low_Hz, high_Hz))))


def _first_Hz(velocity: Spectrum) -> float:
    """The lowest edge a band may have: the line at zero frequency holds no velocity."""
    half = 0.5 * velocity.step_Hz
    return float(half if velocity.frequency_Hz[0] == 0.0 else velocity.frequency_Hz[0] - half)
