"""Power densities of a vibration record, and the way from acceleration to velocity to displacement."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from server.physics.arguments import check_finite, check_not_negative, check_positive
from server.physics.errors import Unphysical

Array = NDArray[np.float64]
Motion = Literal["acceleration", "velocity", "displacement"]
ORDER: tuple[Motion, ...] = ("displacement", "velocity", "acceleration")
"""Each is the derivative in time of the one before it."""
FEWEST_VALUES = 16
HANN_LINES = 1.5
"""Equivalent noise bandwidth of a Hann window in lines (Harris, Proc. IEEE 66, 51 (1978), table I)."""
NARROWEST_LINES = 0.99
"""No window is narrower than one line; the rest is for rounded numbers."""


@dataclass(frozen=True, eq=False)
class Spectrum:
    """One-sided power density of a motion.

    `frequency_Hz` rises evenly from zero or above; `density` is the square of the motion's SI unit per hertz;
    `averages` is how many independent stretches it was averaged over, or None where nobody knows;
    `bandwidth_Hz` is the noise bandwidth of the window, or None where it is that of one line.
    """

    motion: Motion
    frequency_Hz: Array
    density: Array
    averages: float | None = None
    bandwidth_Hz: float | None = None

    @property
    def resolution_Hz(self) -> float:
        """What lies nearer together than this cannot be told apart: the window's bandwidth, or one line."""
        return max(self.bandwidth_Hz or 0.0, self.step_Hz)

    @property
    def step_Hz(self) -> float:
        """The width of one line of the spectrum, in hertz."""
        return float(self.frequency_Hz[1] - self.frequency_Hz[0])


def spectrum_of_density(
    motion: Motion, frequency_Hz: Array, density: Array, bandwidth_Hz: float | None = None
) -> Spectrum:
    """A spectrum that an instrument computed, checked.

    Parameters
    ----------
    motion : str
        `acceleration`, `velocity` or `displacement`.
    frequency_Hz : array
        [Hz] n values, evenly spaced and rising, from zero or above.
    density : array
        [square of the SI unit per Hz] n values, one-sided, none below zero.
    bandwidth_Hz : float or None
        [Hz] equivalent noise bandwidth of the window; None where nobody knows it.

    Returns
    -------
    Spectrum
        With unknown averages.

    Raises
    ------
    Unphysical
        When lengths differ, steps are uneven, a value is below zero or not a number, or the bandwidth is
        narrower than a line, which no window is.

    Examples
    --------
    >>> import numpy as np
    >>> spectrum_of_density("velocity", np.arange(1.0, 101.0), np.full(100, 1e-12)).step_Hz
    1.0

    References
    ----------
    Harris, On the use of windows for harmonic analysis with the discrete Fourier transform, Proc. IEEE 66
    (1978): the plain window has the narrowest noise bandwidth, one line; from memory.
    """
    frequency, power = np.asarray(frequency_Hz, dtype=float), np.asarray(density, dtype=float)
    _check_motion(motion)
    if frequency.ndim != 1 or frequency.shape != power.shape or frequency.size < FEWEST_VALUES:
        raise Unphysical(f"frequency_Hz and density must be rows of equal length, {FEWEST_VALUES} or more.")
    check_not_negative(frequency_Hz=frequency, density=power)
    steps = np.diff(frequency)
    if np.any(steps <= 0.0) or np.ptp(steps) > 0.01 * steps.mean():
        raise Unphysical("frequency_Hz must rise in even steps.")
    if bandwidth_Hz is not None and not NARROWEST_LINES * steps.mean() <= bandwidth_Hz < np.inf:
        raise Unphysical("bandwidth_Hz must be no narrower than one step of frequency_Hz.")
    return Spectrum(motion, frequency, power, bandwidth_Hz=bandwidth_Hz)


def power_density(motion: Motion, values: Array, rate_Hz: float, segment_s: float = 32.0) -> Spectrum:
    """The one-sided power density of a record, by averaging over overlapping stretches.

    Stretches overlap by half, each has its mean removed and a Hann window, and powers are averaged. Thus the
    sum over the spectrum times its step is the variance of a record that goes on in the same way.

    Parameters
    ----------
    motion : str
        What `values` are: `acceleration`, `velocity` or `displacement`.
    values : array
        [m/s2, m/s or m] n values taken at even times.
    rate_Hz : float
        [Hz] values per second.
    segment_s : float
        [s] length of one stretch; a shorter record is one stretch. 32 s tells 1.4 Hz from 1.5 Hz.

    Returns
    -------
    Spectrum
        With `averages`, the equivalent number of independent stretches.

    Raises
    ------
    Unphysical
        When there are too few values, one is not a number, or the rate is not above zero.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(0, 256, 1 / 64)
    >>> found = power_density("velocity", 1e-6 * np.sin(2 * np.pi * 2.0 * t), 64.0)
    >>> round(float(found.density.sum() * found.step_Hz) * 1e12, 3)
    0.5

    References
    ----------
    Welch, The use of fast Fourier transform for the estimation of power spectra, IEEE Trans. Audio
    Electroacoust. 15, 70 (1967).
    """
    from scipy import signal  # noqa: PLC0415  (0.4 s to load, needed by few pages)

    record = np.asarray(values, dtype=float)
    _check_motion(motion)
    check_positive(rate_Hz=rate_Hz, segment_s=segment_s)
    if record.ndim != 1 or record.size < FEWEST_VALUES:
        raise Unphysical(f"values must be one row of {FEWEST_VALUES} numbers or more.")
    check_finite(values=record)
    length = int(min(record.size, max(FEWEST_VALUES, round(segment_s * rate_Hz))))
    frequency, density = signal.welch(record, rate_Hz, window="hann", nperseg=length, detrend="constant")
    bandwidth_Hz = HANN_LINES * rate_Hz / length
    return Spectrum(motion, frequency, density, _independent(record.size, length), bandwidth_Hz)


def as_motion(spectrum: Spectrum, motion: Motion) -> Spectrum:
    """The spectrum of another motion of the same body.

    Parameters
    ----------
    spectrum : Spectrum
        Any motion.
    motion : str
        The one asked for.

    Returns
    -------
    Spectrum
        Densities divided or multiplied by the square of the angular frequency, once per step; a line at zero
        frequency, which has no meaning after a division, becomes zero.

    Raises
    ------
    Unphysical
        When `motion` is none of the three.

    Examples
    --------
    >>> import numpy as np
    >>> flat = spectrum_of_density("acceleration", np.arange(1.0, 101.0), np.ones(100))
    >>> float(as_motion(flat, "velocity").density[0] * (2 * np.pi) ** 2)
    1.0
    """
    _check_motion(motion)
    steps = ORDER.index(motion) - ORDER.index(spectrum.motion)
    angular = 2.0 * np.pi * spectrum.frequency_Hz
    with np.errstate(divide="ignore", invalid="ignore"):
        density = np.where(angular > 0.0, spectrum.density * angular ** (2.0 * steps), 0.0)
    kept = spectrum.density if steps == 0 else density
    return replace(spectrum, motion=motion, density=kept)


def rms_between(spectrum: Spectrum, low_Hz: float, high_Hz: float) -> float:
    """The root mean square of a motion between two frequencies.

    A line counts by the share of its width that lies between them, so neighbouring ranges add up.

    Parameters
    ----------
    spectrum : Spectrum
        Of the motion asked about.
    low_Hz, high_Hz : float
        [Hz] the range, `low_Hz` below `high_Hz`.

    Returns
    -------
    float
        [1] root mean square, in the SI unit of the motion.

    Raises
    ------
    Unphysical
        When the range is empty or reaches beyond the spectrum.

    Examples
    --------
    >>> import numpy as np
    >>> flat = spectrum_of_density("velocity", np.arange(1.0, 101.0), np.full(100, 4.0))
    >>> rms_between(flat, 10.0, 35.0)
    10.0

    References
    ----------
    Parseval's theorem.
    """
    check_not_negative(low_Hz=low_Hz)
    check_positive(high_Hz=high_Hz)
    half = 0.5 * spectrum.step_Hz
    if low_Hz >= high_Hz:
        raise Unphysical("low_Hz must lie below high_Hz.")
    if low_Hz < spectrum.frequency_Hz[0] - half or high_Hz > spectrum.frequency_Hz[-1] + half:
        raise Unphysical("low_Hz and high_Hz must lie inside the spectrum.")
    return float(np.sqrt(np.sum(spectrum.density * width_inside_Hz(spectrum, low_Hz, high_Hz))))


def width_inside_Hz(spectrum: Spectrum, low_Hz: float, high_Hz: float) -> Array:
    """How much of each line's width lies between `low_Hz` and `high_Hz`, in hertz: one value a line."""
    half = 0.5 * spectrum.step_Hz
    left = np.maximum(spectrum.frequency_Hz - half, low_Hz)
    right = np.minimum(spectrum.frequency_Hz + half, high_Hz)
    return np.asarray(np.clip(right - left, 0.0, None))


def _independent(count: int, length: int) -> float:
    """Hann stretches overlapping by half share power: the correlation of two neighbours is 1/36."""
    stretches = 1 + (count - length) // (length - length // 2)
    return stretches / (1.0 + (stretches - 1) / (18.0 * stretches))


def _check_motion(motion: str) -> None:
    if motion not in ORDER:
        raise Unphysical(f"motion must be one of {', '.join(ORDER)}.")
