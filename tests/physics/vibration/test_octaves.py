"""One-third octaves against IEC 61260-1 and a bank of octave filters of a general acoustics library."""

import itertools

import numpy as np
import pyoctaveband
import pytest
from scipy import signal

from server.physics.errors import Unphysical
from server.physics.vibration import middle_of_band_Hz, power_density, spectrum_of_density, third_octaves
from server.physics.vibration.octaves import NOMINAL_HZ

RATE_Hz = 256
PRESSURE_OF_THE_LIBRARY = 2e-5  # its decibels are those of sound pressure


@pytest.fixture(scope="module")
def noise() -> np.ndarray:
    return np.random.default_rng(3).normal(size=RATE_Hz * 2048)


@pytest.mark.parametrize(
    ("number", "middle_Hz"),
    # IEC 61260-1, exact base-ten middle frequencies.
    [(0, 1.0), (1, 1.25893), (5, 3.1623), (10, 10.0), (15, 31.623), (19, 79.433)],
)
def test_the_middle_frequencies_are_those_of_base_ten(number: int, middle_Hz: float) -> None:
    assert middle_of_band_Hz(number) == pytest.approx(middle_Hz, rel=2e-5)


@pytest.mark.parametrize("number", [-1, 20])
def test_there_are_twenty_bands(number: int) -> None:
    with pytest.raises(Unphysical, match="number must lie"):
        middle_of_band_Hz(number)


def test_bands_meet_and_have_the_width_of_the_standard(noise: np.ndarray) -> None:
    """IEC 61260-1: edges at the middle times 10^(±1/20), so the width is 0.230768 of the middle."""
    bands = third_octaves(power_density("velocity", noise[:65536], RATE_Hz))
    for band, following in itertools.pairwise(bands):
        assert band.high_Hz == pytest.approx(following.low_Hz, rel=1e-12)
        assert (band.high_Hz - band.low_Hz) / band.middle_Hz == pytest.approx(0.230768, abs=1e-6)
    assert tuple(band.nominal_Hz for band in bands) == NOMINAL_HZ


@pytest.mark.parametrize("coloured", [False, True])
def test_levels_lie_within_a_fifth_of_a_decibel_of_a_bank_of_filters(
    noise: np.ndarray, coloured: bool
) -> None:
    """Octave filters of sixth order from a general acoustics library, over 34 minutes of noise."""
    record = signal.lfilter(*signal.butter(1, 20.0, fs=RATE_Hz), noise) if coloured else noise
    ours = [band.velocity_m_s for band in third_octaves(power_density("velocity", record, RATE_Hz))]
    levels, _ = pyoctaveband.octavefilter(record, RATE_Hz, fraction=3, order=6, limits=[0.95, 85])
    theirs = PRESSURE_OF_THE_LIBRARY * 10 ** (np.asarray(levels) / 20)
    assert len(ours) == len(theirs)
    assert 20 * np.log10(np.array(ours) / theirs) == pytest.approx(np.zeros(20), abs=0.2)


def test_a_band_of_white_noise_has_the_power_of_its_width() -> None:
    """sqrt(width x 2/rate): 0.11939 for a rate of 1024 in the band at 31.5 Hz, arithmetic of white noise."""
    record = np.random.default_rng(4).normal(size=1024 * 600)
    band = third_octaves(power_density("velocity", record, 1024.0))[15]
    assert band.velocity_m_s == pytest.approx(0.11939, rel=0.03)


def test_a_tone_at_the_edge_stands_in_two_bands() -> None:
    """1.4 Hz lies just below 10^(3/20) = 1.4125 Hz, where 1.25 Hz ends and 1.6 Hz begins."""
    t = np.arange(0.0, 1024.0, 1.0 / RATE_Hz)
    bands = third_octaves(power_density("velocity", 1e-3 * np.sin(2 * np.pi * 1.4 * t), RATE_Hz))
    low, high = bands[1].velocity_m_s, bands[2].velocity_m_s
    assert low is not None
    assert high is not None
    assert 1e-4 < high < low
    assert low**2 + high**2 == pytest.approx(0.5e-6, rel=0.01)


def test_what_the_spectrum_does_not_reach_or_resolve_is_missing() -> None:
    coarse = spectrum_of_density("velocity", np.arange(0.0, 51.0), np.ones(51))
    bands = {band.nominal_Hz: band.velocity_m_s for band in third_octaves(coarse)}
    assert bands[1.0] is None  # narrower than a line
    assert bands[63.0] is None  # above the last line
    assert bands[10.0] is not None


def test_a_spectrum_beside_all_bands_is_refused() -> None:
    with pytest.raises(Unphysical, match="none of the bands"):
        third_octaves(spectrum_of_density("velocity", np.arange(200.0, 300.0), np.ones(100)))
