"""Tones found where they were put, with the size they were given."""

import numpy as np
import pytest

from server.physics.errors import Unphysical
from server.physics.vibration import power_density, tones

T_S = np.arange(0.0, 600.0, 1.0 / 256.0)
NOISE = np.random.default_rng(11).normal(0.0, 2e-7, T_S.size)


def test_the_lines_of_a_cooler_stand_apart_from_a_floor() -> None:
    """Amplitude over the square root of two is the rms of a sine."""
    record = NOISE + sum(
        amplitude * np.sin(2 * np.pi * frequency * T_S)
        for frequency, amplitude in ((1.4, 5e-6), (2.8, 2e-6), (23.37, 1e-6))
    )
    found = tones(power_density("velocity", record, 256.0))
    assert [round(tone.frequency_Hz, 1) for tone in found] == [1.4, 2.8, 23.4]
    assert [tone.rms for tone in found] == pytest.approx([3.536e-6, 1.414e-6, 0.707e-6], rel=0.03)


def test_noise_alone_has_no_tones() -> None:
    assert tones(power_density("velocity", NOISE, 256.0)) == ()


def test_a_broad_hump_is_no_tone() -> None:
    from scipy import signal

    hump = signal.lfilter(*signal.butter(2, (15.0, 30.0), "bandpass", fs=256.0), 50 * NOISE)
    assert tones(power_density("velocity", hump + NOISE, 256.0)) == ()


def test_an_offset_is_no_tone() -> None:
    assert tones(power_density("velocity", NOISE + 1.0, 256.0)) == ()


def test_only_so_many_are_told() -> None:
    record = NOISE + sum(1e-5 * np.sin(2 * np.pi * frequency * T_S) for frequency in range(5, 60, 5))
    assert len(tones(power_density("velocity", record, 256.0), most=4)) == 4


@pytest.mark.parametrize(("above_floor", "most"), [(0.0, 3), (float("nan"), 3), (12.0, 0)])
def test_bounds_that_mean_nothing_are_refused(above_floor: float, most: int) -> None:
    with pytest.raises(Unphysical):
        tones(power_density("velocity", NOISE[:4096], 256.0), above_floor, most)
