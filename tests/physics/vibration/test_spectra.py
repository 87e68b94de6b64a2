"""Power densities against Parseval, white noise, tones, and scipy; integration against sines."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.vibration import as_motion, power_density, rms_between, spectrum_of_density

RATE_Hz = 256.0
NOISE = np.random.default_rng(20261125).normal(size=int(RATE_Hz) * 600)


def test_the_sum_over_the_spectrum_is_the_variance_of_the_record() -> None:
    """Parseval's theorem; a Hann window with overlap keeps it on the average."""
    spectrum = power_density("velocity", NOISE, RATE_Hz)
    assert spectrum.density.sum() * spectrum.step_Hz == pytest.approx(NOISE.var(), rel=0.01)


def test_white_noise_has_the_density_two_over_the_rate() -> None:
    """A one-sided density of unit variance spread evenly up to half the rate is 2 / rate."""
    spectrum = power_density("velocity", NOISE, RATE_Hz)
    assert spectrum.density[5:-5].mean() == pytest.approx(2.0 / RATE_Hz, rel=0.01)


def test_acceleration_of_two_tones_becomes_their_velocity() -> None:
    """1e-3 m/s2 at 1.4 Hz, 2e-4 at 2.8 Hz: v = sqrt((a1/w1)^2 + (a2/w2)^2)/sqrt(2) = 8.0786e-5 m/s."""
    t = np.arange(0.0, 1024.0, 1.0 / RATE_Hz)
    a = 1e-3 * np.sin(2 * np.pi * 1.4 * t) + 2e-4 * np.sin(2 * np.pi * 2.8 * t)
    velocity = as_motion(power_density("acceleration", a, RATE_Hz), "velocity")
    assert rms_between(velocity, 0.5, 100.0) == pytest.approx(8.0786e-5, rel=2e-3)


@pytest.mark.parametrize(
    ("peak_to_peak_m", "frequency_Hz", "velocity_m_s", "acceleration_m_s2"),
    [
        # x = (p-p/2)/sqrt(2), v = w x, a = w v: arithmetic of a sine, recomputed by hand.
        (10e-6, 1.4, 31.10e-6, 27.9e-6 * 9.80665),
        (50e-9, 1.4, 0.1555e-6, 0.139e-6 * 9.80665),
        (1e-6, 2.0, 4.443e-6, 5.69e-6 * 9.80665),
    ],
)
def test_a_displacement_becomes_velocity_and_acceleration(
    peak_to_peak_m: float, frequency_Hz: float, velocity_m_s: float, acceleration_m_s2: float
) -> None:
    t = np.arange(0.0, 640.0, 1.0 / RATE_Hz)
    moved = power_density(
        "displacement", 0.5 * peak_to_peak_m * np.sin(2 * np.pi * frequency_Hz * t), RATE_Hz
    )
    velocity, acceleration = as_motion(moved, "velocity"), as_motion(moved, "acceleration")
    assert rms_between(velocity, 0.5, 10.0) == pytest.approx(velocity_m_s, rel=3e-3)
    assert rms_between(acceleration, 0.5, 10.0) == pytest.approx(acceleration_m_s2, rel=5e-3)


def test_there_and_back_is_the_same_spectrum_above_zero_frequency() -> None:
    spectrum = power_density("velocity", NOISE[:4096], RATE_Hz)
    back = as_motion(as_motion(spectrum, "displacement"), "velocity")
    assert back.density[1:] == pytest.approx(spectrum.density[1:], rel=1e-12)
    assert back.density[0] == 0.0


@settings(max_examples=30)
@given(st.floats(1.0, 40.0), st.floats(41.0, 60.0), st.floats(61.0, 127.0))
def test_neighbouring_ranges_add_up(low_Hz: float, middle_Hz: float, high_Hz: float) -> None:
    spectrum = power_density("velocity", NOISE[:8192], RATE_Hz)
    parts = rms_between(spectrum, low_Hz, middle_Hz) ** 2 + rms_between(spectrum, middle_Hz, high_Hz) ** 2
    assert parts == pytest.approx(rms_between(spectrum, low_Hz, high_Hz) ** 2, rel=1e-9)


def test_the_spread_of_a_line_is_what_the_number_of_averages_says() -> None:
    """A power averaged over n independent stretches has relative variance 1/n (chi-squared, 2n degrees)."""
    rng = np.random.default_rng(7)
    spectra = [power_density("velocity", rng.normal(size=6400), 64.0, 10.0) for _ in range(200)]
    lines = np.array([spectrum.density[40] for spectrum in spectra])
    assert spectra[0].averages is not None
    assert lines.var() / lines.mean() ** 2 == pytest.approx(1.0 / spectra[0].averages, rel=0.3)


@pytest.mark.parametrize("values", [[], [1.0] * 3, [float("nan")] * 100, [[1.0] * 40] * 2])
def test_what_is_no_record_is_refused(values: list[float]) -> None:
    with pytest.raises(Unphysical):
        power_density("velocity", np.array(values), 64.0)


@pytest.mark.parametrize(
    ("frequency_Hz", "density"),
    [
        (np.arange(20.0), np.ones(19)),
        (np.geomspace(1.0, 80.0, 20), np.ones(20)),
        (np.arange(20.0), -np.ones(20)),
        (np.arange(20.0)[::-1], np.ones(20)),
        (np.arange(20.0), np.full(20, np.nan)),
    ],
)
def test_what_is_no_spectrum_is_refused(frequency_Hz: np.ndarray, density: np.ndarray) -> None:
    with pytest.raises(Unphysical):
        spectrum_of_density("velocity", frequency_Hz, density)


def test_an_unknown_motion_is_refused() -> None:
    with pytest.raises(Unphysical, match="motion must be one of"):
        power_density("jerk", NOISE[:100], 64.0)  # type: ignore[arg-type]


@pytest.mark.parametrize(("low_Hz", "high_Hz"), [(5.0, 5.0), (6.0, 5.0), (1.0, 500.0), (-1.0, 5.0)])
def test_a_range_outside_the_spectrum_is_refused(low_Hz: float, high_Hz: float) -> None:
    with pytest.raises(Unphysical):
        rms_between(power_density("velocity", NOISE[:4096], RATE_Hz), low_Hz, high_Hz)
