"""Tones of a spectrum told apart from its broad floor."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.physics.arguments import check_positive
from server.physics.errors import Unphysical
from server.physics.vibration.spectra import Array, Spectrum

HALF_WIDTH_LINES = 2
"""A Hann window puts all but a thousandth of a tone's power in its line and two on each side."""
FLOOR_LINES = 41
"""Lines whose median is the floor at the middle one."""
ABOVE_FLOOR = 12.0
"""A line of noise averaged over ten stretches stays below this times its median."""


@dataclass(frozen=True)
class Tone:
    """One line: `frequency_Hz`, its `rms` in the motion's SI unit, and how far it stands above the floor."""

    frequency_Hz: float
    rms: float
    above_floor_dB: float


def tones(spectrum: Spectrum, above_floor: float = ABOVE_FLOOR, most: int = 12) -> tuple[Tone, ...]:
    """The tones of a spectrum, strongest first.

    Parameters
    ----------
    spectrum : Spectrum
        Of a record analysed with a Hann window.
    above_floor : float
        [1] how many times the median of its surroundings a line must reach.
    most : int
        [1] at most so many.

    Returns
    -------
    tuple of Tone
        Frequency by the middle of power of the line and its neighbours; power of the floor taken off.

    Raises
    ------
    Unphysical
        When `above_floor` is not above zero.

    Examples
    --------
    >>> import numpy as np
    >>> from server.physics.vibration.spectra import power_density
    >>> t = np.arange(0, 320, 1 / 64)
    >>> noise = np.random.default_rng(1).normal(0.0, 1e-7, t.size)
    >>> [found] = tones(power_density("velocity", 1e-6 * np.sin(2 * np.pi * 1.4 * t) + noise, 64.0))
    >>> round(found.frequency_Hz, 2), round(found.rms * 1e6, 2)
    (1.4, 0.71)

    References
    ----------
    Harris, On the use of windows for harmonic analysis with the discrete Fourier transform, Proc. IEEE 66,
    51 (1978); the threshold above the floor is common practice, no source.
    """
    check_positive(above_floor=above_floor)
    if most < 1:
        raise Unphysical("most must be 1 or more.")
    floor = _floor(spectrum.density)
    peaks = _peaks(spectrum.density, above_floor * floor)
    found = [_tone(spectrum, floor, int(line)) for line in peaks]
    return tuple(sorted(found, key=lambda tone: -tone.rms)[:most])


def _floor(density: Array) -> Array:
    half = FLOOR_LINES // 2
    padded = np.pad(density, half, mode="reflect" if density.size > half else "edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, FLOOR_LINES), axis=1))


def _peaks(density: Array, threshold: Array) -> NDArray[np.intp]:
    """Lines above the threshold that no line within a tone's width exceeds; the first holds the mean."""
    wide = 2 * HALF_WIDTH_LINES + 1
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(density, HALF_WIDTH_LINES, constant_values=-1.0), wide
    )
    peak = (density > threshold) & (density >= around.max(axis=1)) & (density > 0.0)
    peak[:HALF_WIDTH_LINES] = False
    return np.flatnonzero(peak)


def _tone(spectrum: Spectrum, floor: Array, line: int) -> Tone:
    near = slice(line - HALF_WIDTH_LINES, line + HALF_WIDTH_LINES + 1)
    power = np.clip(spectrum.density[near] - floor[near], 0.0, None)
    frequency = float(np.sum(power * spectrum.frequency_Hz[near]) / power.sum())
    above = spectrum.density[line] / max(floor[line], np.finfo(float).tiny)
    return Tone(frequency, float(np.sqrt(power.sum() * spectrum.step_Hz)), float(10.0 * np.log10(above)))
