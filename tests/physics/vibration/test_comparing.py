"""Before beside after: changes of a known size, and bands that hold what chance does."""

import numpy as np
import pytest

from server.physics.vibration import (
    beside,
    degrees_of_freedom,
    power_density,
    spectrum_of_density,
    third_octaves,
)


def noise(seed: int, size: float = 1e-6, duration_s: int = 320) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, size, 256 * duration_s)


def test_twice_the_motion_is_six_decibels_and_told_apart() -> None:
    """20 log10(2) = 6.02."""
    found = beside(
        power_density("velocity", noise(1, 2e-6), 256.0), power_density("velocity", noise(2), 256.0)
    )
    middle = found[12]
    assert middle.change_dB is not None
    assert middle.told_apart
    assert middle.change_dB.low is not None
    assert middle.change_dB.high is not None
    assert middle.change_dB.low < 6.02 < middle.change_dB.high


def test_two_records_of_the_same_noise_are_told_apart_in_one_band_of_twenty() -> None:
    """The band of a change holds the central 95 %, so about one in twenty falls outside by chance."""
    spectra = [power_density("velocity", noise(seed), 256.0, 16.0) for seed in range(40)]
    pairs = zip(spectra[::2], spectra[1::2], strict=True)
    outside = [one.told_apart for now, before in pairs for one in beside(now, before)]
    assert None not in outside
    assert sum(bool(one) for one in outside) / len(outside) == pytest.approx(0.05, abs=0.03)


def test_the_spread_of_a_band_is_what_its_degrees_of_freedom_say() -> None:
    """The relative variance of a power with n degrees of freedom is 2/n."""
    spectra = [power_density("velocity", noise(seed, duration_s=64), 256.0, 8.0) for seed in range(300)]
    powers = np.array([third_octaves(one)[8].velocity_m_s for one in spectra], dtype=float) ** 2
    free = degrees_of_freedom(spectra[0], third_octaves(spectra[0])[8])
    assert free is not None
    assert powers.var() / powers.mean() ** 2 == pytest.approx(2.0 / free, rel=0.25)


def test_without_the_number_of_averages_a_change_has_no_verdict() -> None:
    flat = spectrum_of_density("velocity", np.arange(0.0, 100.0, 0.1), np.full(1000, 1e-12))
    found = beside(flat, flat)
    assert found[5].told_apart is None
    assert found[5].change_dB is not None
    assert found[5].change_dB.best == 0.0


def test_a_band_without_a_partner_is_missing() -> None:
    whole = power_density("velocity", noise(5), 256.0)
    slow = power_density("velocity", noise(6)[::8], 32.0)
    found = beside(whole, slow)
    assert found[19].baseline_m_s is None
    assert found[19].change_dB is None
