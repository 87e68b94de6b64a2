"""The generic curves, by numbers that follow from one another; levels from memory."""

import itertools

import numpy as np
import pytest

from server.physics.errors import Unphysical
from server.physics.vibration import (
    LEVELS_m_s,
    ThirdOctave,
    best_met,
    criterion_m_s,
    judged,
    power_density,
    third_octaves,
)

STANDARD_GRAVITY_m_s2 = 9.80665


def band(nominal_Hz: float, velocity_m_s: float | None) -> ThirdOctave:
    return ThirdOctave(nominal_Hz, nominal_Hz, 0.89 * nominal_Hz, 1.12 * nominal_Hz, velocity_m_s)


def tone(displacement_peak_to_peak_m: float, frequency_Hz: float) -> tuple[ThirdOctave, ...]:
    t = np.arange(0.0, 640.0, 1.0 / 256.0)
    return third_octaves(
        power_density(
            "displacement", 0.5 * displacement_peak_to_peak_m * np.sin(2 * np.pi * frequency_Hz * t), 256.0
        )
    )


@pytest.mark.parametrize(("level", "acceleration_g"), [("VC-A", 260e-6), ("VC-B", 130e-6)])
def test_below_eight_hertz_the_looser_curves_keep_their_acceleration(
    level: str, acceleration_g: float
) -> None:
    """260 and 130 millionths of gravity between 4 and 8 Hz, from memory."""
    for frequency_Hz in (4.0, 5.0, 6.3):
        velocity = criterion_m_s(level, frequency_Hz)
        assert velocity is not None
        found = 2 * np.pi * frequency_Hz * velocity / STANDARD_GRAVITY_m_s2
        assert found == pytest.approx(acceleration_g, rel=0.02)


def test_each_curve_is_half_of_the_one_before() -> None:
    levels = list(LEVELS_m_s.values())
    for looser, stricter in itertools.pairwise(levels):
        assert stricter / looser == pytest.approx(0.5, rel=0.002)


def test_looser_curves_say_nothing_below_four_hertz() -> None:
    assert criterion_m_s("VC-A", 3.15) is None
    assert criterion_m_s("VC-C", 1.0) == 12.5e-6
    assert criterion_m_s("VC-C", 100.0) is None


def test_ten_micrometres_at_the_cycle_of_a_cooler_break_curve_c() -> None:
    """10 um peak to peak at 1.4 Hz is 31.1 um/s rms, above 12.5 um/s; A and B end at 4 Hz and are met."""
    found = judged(tone(10e-6, 1.4), "VC-C")
    assert found.met is False
    assert found.worst_Hz == 1.25
    assert judged(tone(10e-6, 1.4), "VC-B").undefined_Hz[:2] == (1.0, 1.25)


def test_fifty_nanometres_at_the_cycle_of_a_cooler_meet_curve_g() -> None:
    """50 nm peak to peak at 1.4 Hz is 0.156 um/s rms, below 0.78 um/s."""
    assert best_met(tone(50e-9, 1.4)) == "VC-G"


def test_a_band_that_was_not_measured_leaves_a_curve_open() -> None:
    bands = (band(10.0, 1e-6), band(12.5, None))
    assert judged(bands, "VC-E").met is None
    assert judged(bands, "VC-E").missing_Hz == (12.5,)
    assert judged((band(10.0, 1e-3), band(12.5, None)), "VC-E").met is False


def test_nothing_that_can_be_judged_is_no_verdict() -> None:
    assert judged((band(1.0, 1e-9),), "VC-A").met is None
    assert best_met((band(10.0, 1e-3),)) is None


def test_an_unknown_curve_is_refused() -> None:
    with pytest.raises(Unphysical, match="level must be one of"):
        criterion_m_s("VC-Z", 10.0)
