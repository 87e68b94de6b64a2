"""Generic vibration criteria: curves of velocity per one-third octave, VC-A to VC-G."""

from dataclasses import dataclass

from server.physics.errors import Unphysical
from server.physics.vibration.octaves import ThirdOctave

LEVELS_m_s = {
    "VC-A": 50e-6,
    "VC-B": 25e-6,
    "VC-C": 12.5e-6,
    "VC-D": 6.25e-6,
    "VC-E": 3.12e-6,
    "VC-F": 1.56e-6,
    "VC-G": 0.78e-6,
}
"""Flat part of each curve, from memory; A to E are also printed in the paper named below."""
BENT = ("VC-A", "VC-B")
"""These are flat from 8 Hz only, keep constant acceleration from 8 down to 4 Hz, and end there."""
BEND_HZ, BENT_END_HZ = 8.0, 4.0
FIRST_HZ, LAST_HZ = 1.0, 80.0
SOURCE = (
    "Amick, Gendreau, Busch and Gordon, Evolving criteria for research facilities: vibration, "
    "Proc. SPIE 5933 (2005); levels from memory"
)


@dataclass(frozen=True)
class Judged:
    """How one-third octaves stand against one curve.

    `met` is None where no band could be judged; `worst_Hz` is the band that lies nearest to or farthest above
    the curve, `worst_ratio` its velocity over the curve's; `undefined_Hz` are bands for which the curve says
    nothing, `missing_Hz` those that were not measured.
    """

    level: str
    met: bool | None
    worst_Hz: float | None
    worst_ratio: float | None
    undefined_Hz: tuple[float, ...]
    missing_Hz: tuple[float, ...]


def criterion_m_s(level: str, frequency_Hz: float) -> float | None:
    """The velocity a curve allows in the one-third octave called `frequency_Hz`.

    Parameters
    ----------
    level : str
        `VC-A` to `VC-G`.
    frequency_Hz : float
        [Hz] nominal frequency of the band.

    Returns
    -------
    float or None
        [m/s] root mean square; None where the curve says nothing.

    Raises
    ------
    Unphysical
        When there is no such curve.

    Examples
    --------
    >>> criterion_m_s("VC-C", 1.25)
    1.25e-05
    >>> criterion_m_s("VC-A", 2.0) is None
    True

    References
    ----------
    Amick, Gendreau, Busch and Gordon, Evolving criteria for research facilities: vibration,
    Proc. SPIE 5933 (2005); levels from memory.
    """
    if level not in LEVELS_m_s:
        raise Unphysical(f"level must be one of {', '.join(LEVELS_m_s)}.")
    first = BENT_END_HZ if level in BENT else FIRST_HZ
    if not first <= frequency_Hz <= LAST_HZ:
        return None
    bend = BEND_HZ / frequency_Hz if level in BENT and frequency_Hz < BEND_HZ else 1.0
    return LEVELS_m_s[level] * bend


def judged(bands: tuple[ThirdOctave, ...], level: str) -> Judged:
    """How measured bands stand against one curve.

    Parameters
    ----------
    bands : tuple of ThirdOctave
        From `third_octaves`.
    level : str
        `VC-A` to `VC-G`.

    Returns
    -------
    Judged
        Met only when every band the curve speaks of was measured and lies at or below it.

    Raises
    ------
    Unphysical
        When there is no such curve.

    Examples
    --------
    >>> quiet = (ThirdOctave(10.0, 10.0, 8.9, 11.2, 1e-6),)
    >>> judged(quiet, "VC-F").worst_ratio < 1.0
    True
    """
    allowed = {band.nominal_Hz: criterion_m_s(level, band.nominal_Hz) for band in bands}
    ratios = {
        band.nominal_Hz: band.velocity_m_s / limit
        for band in bands
        if (limit := allowed[band.nominal_Hz]) is not None and band.velocity_m_s is not None
    }
    undefined = tuple(frequency for frequency, limit in allowed.items() if limit is None)
    missing = tuple(
        band.nominal_Hz for band in bands if band.velocity_m_s is None and band.nominal_Hz not in undefined
    )
    worst = max(ratios, key=lambda frequency: ratios[frequency], default=None)
    ratio = None if worst is None else ratios[worst]
    return Judged(level, _met(ratio, missing), worst, ratio, undefined, missing)


def best_met(bands: tuple[ThirdOctave, ...]) -> str | None:
    """The strictest curve the bands meet.

    Parameters
    ----------
    bands : tuple of ThirdOctave
        From `third_octaves`.

    Returns
    -------
    str or None
        `VC-A` to `VC-G`; None when none is met or none can be judged whole.

    Raises
    ------
    Unphysical
        Never for bands from `third_octaves`.

    Examples
    --------
    >>> best_met((ThirdOctave(10.0, 10.0, 8.9, 11.2, 20e-6),))
    'VC-B'
    """
    met = [level for level in LEVELS_m_s if judged(bands, level).met]
    return met[-1] if met else None


def _met(ratio: float | None, missing: tuple[float, ...]) -> bool | None:
    """A band above the curve settles it; a band that is missing leaves the rest open."""
    if ratio is not None and ratio > 1.0:
        return False
    return None if missing or ratio is None else True
