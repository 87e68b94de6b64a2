"""Slope, step and event put into a series are found again, each inside its band."""

import numpy as np
import pytest

from server.physics.errors import Unphysical
from server.physics.statistics import Band, Separated, Witness, separate

NOISE_K = 0.007
SLOPE_K, STEP_K, EVENT_K = 0.04, 0.22, 0.35
STEP_PLACE, EVENT_PLACE = 2, 4


def six_cooldowns(seed: int) -> Separated:
    """Invented: base temperature over six cooldowns, a slope, a declared step, an event at an opening."""
    places = np.arange(6)
    truth = 3.28 + SLOPE_K * places + STEP_K * (places >= STEP_PLACE) + EVENT_K * (places >= EVENT_PLACE)
    values = truth + np.random.default_rng(seed).normal(0.0, NOISE_K, 6)
    predicted = (Band(0.10, 0.20, 0.30),)
    witness = Witness(tuple(values), NOISE_K, 0.5, predicted)
    return separate(range(6), [witness], [STEP_PLACE], [1, 3, 4, 5])


def holds(band: Band, truth: float) -> bool:
    assert band.low is not None
    assert band.high is not None
    return band.low <= truth <= band.high


def test_each_size_lies_in_its_band_as_often_as_the_band_says() -> None:
    found = [six_cooldowns(seed).witnesses[0] for seed in range(100)]
    assert np.mean([holds(one.slope, SLOPE_K) for one in found]) >= 0.9
    assert np.mean([holds(one.steps[0], STEP_K) for one in found]) >= 0.9
    assert np.mean([holds(one.event, EVENT_K) for one in found]) >= 0.9


def test_bands_are_narrow_enough_to_be_of_use() -> None:
    for seed in range(20):
        found = six_cooldowns(seed).witnesses[0]
        for band in (found.slope, found.steps[0], found.event):
            assert band.low is not None
            assert band.high is not None
            assert 0.5 * (band.high - band.low) <= 0.06


def test_the_event_is_placed_where_it_was() -> None:
    assert [six_cooldowns(seed).event_place for seed in range(20)] == [EVENT_PLACE] * 20


def test_a_quiet_series_has_neither_slope_nor_event() -> None:
    values = 3.3 + np.random.default_rng(1).normal(0.0, NOISE_K, 8)
    found = separate(range(8), [Witness(tuple(values), NOISE_K, 0.5)], [], [2, 5])
    assert found.slope_probability < 0.2
    assert found.event_place is None


def test_a_second_witness_settles_what_one_leaves_open() -> None:
    """Two cooldowns after the event look like a slope to one witness; the other sees none of it before."""
    platform = Witness((3.30, 3.31, 3.36, 3.37), 0.03, 0.3)
    shield = Witness((30.0, 30.0, 34.0, 34.1), 0.15, 3.0)
    alone = separate(range(4), [platform], [], [1, 2, 3])
    both = separate(range(4), [platform, shield], [], [1, 2, 3])
    assert alone.event_probability[2] < 0.5
    assert both.event_probability[2] > 0.9


def test_a_missing_value_of_one_witness_is_no_hindrance() -> None:
    found = separate(range(6), [Witness((3.30, float("nan"), 3.30, 3.41, 3.40, 3.41), NOISE_K, 0.3)], [], [3])
    assert found.event_place == 3
    assert np.isnan(found.witnesses[0].unexplained[1])


def test_what_is_told_and_what_is_left_make_the_value() -> None:
    """Two values of noise that no size explains stay unexplained, and the sum of squares says so."""
    found = separate(range(6), [Witness((3.3, 3.3, 3.3, 3.9, 3.3, 3.3), NOISE_K, 0.3)], [], [])
    assert max(found.witnesses[0].unexplained) > 0.4
    assert found.witnesses[0].chi_squared > 100.0


@pytest.mark.parametrize(
    ("times", "witness", "steps", "places"),
    [
        ((0.0, 1.0), Witness((1.0, 1.0), 0.1, 1.0), [], []),
        ((0.0, 1.0, 1.0), Witness((1.0,) * 3, 0.1, 1.0), [], []),
        ((0.0, 1.0, 2.0), Witness((1.0,) * 2, 0.1, 1.0), [], []),
        ((0.0, 1.0, 2.0), Witness((1.0,) * 3, 0.0, 1.0), [], []),
        ((0.0, 1.0, 2.0), Witness((float("nan"),) * 3, 0.1, 1.0), [], []),
        ((0.0, 1.0, 2.0), Witness((1.0,) * 3, 0.1, 1.0), [3], []),
        ((0.0, 1.0, 2.0), Witness((1.0,) * 3, 0.1, 1.0), [], [0]),
        ((0.0, 1.0, 2.0), Witness((1.0,) * 3, 0.1, 1.0, (None, None)), [1], []),
    ],
)
def test_what_is_no_series_is_refused(
    times: tuple[float, ...], witness: Witness, steps: list[int], places: list[int]
) -> None:
    with pytest.raises(Unphysical):
        separate(times, [witness], steps, places)


def test_without_a_witness_there_is_nothing_to_tell() -> None:
    with pytest.raises(Unphysical, match="witnesses"):
        separate(range(4), [], [], [])
