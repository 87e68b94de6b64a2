"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.statistics import cumulative_sums, moving_average, weight_for_gap

# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4: data, averages as printed, limits.
SERIES = np.array(
    [
        52.0,
        47.0,
        53.0,
        49.3,
        50.1,
        47.0,
        51.0,
        50.1,
        51.2,
        50.5,
        49.6,
        47.6,
        49.9,
        51.3,
        47.8,
        51.2,
        52.6,
        52.4,
        53.6,
        52.1,
    ]
)
AVERAGES = [
    50.6,
    49.52,
    50.56,
    50.18,
    50.16,
    49.21,
    49.75,
    49.85,
    50.26,
    50.33,
    50.11,
    49.36,
    49.52,
    50.05,
    49.38,
    49.92,
    50.73,
    51.23,
    51.94,
    51.99,
]
# The same handbook, section 6.3.2.3, target 325, slack 0.3175: data and printed sums from memory; the sums
# follow from the data by arithmetic.
DIAMETERS = np.array(
    [
        324.925,
        324.675,
        324.725,
        324.35,
        325.35,
        325.225,
        324.125,
        324.525,
        325.225,
        324.6,
        324.625,
        325.15,
        328.325,
        327.25,
        327.825,
        328.5,
        326.675,
        327.775,
        326.875,
        328.35,
    ]
)
SUMS_ABOVE = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]


def test_the_moving_average_of_the_handbook() -> None:
    chart = moving_average(SERIES, 50.0, 2.0539, settled=True)
    assert chart.average == pytest.approx(AVERAGES, abs=0.0051)
    assert chart.upper[0] == pytest.approx(52.5884, abs=1e-3)
    assert chart.lower[0] == pytest.approx(47.4115, abs=1e-3)
    assert chart.outside == ()


def test_the_limits_of_the_first_values_are_narrower() -> None:
    """sigma sqrt(w/(2-w) (1 - (1-w)^2i)), recomputed by hand for the series above."""
    chart = moving_average(SERIES, 50.0, 2.0539)
    assert chart.upper[:5] == pytest.approx([51.8485, 52.2564, 52.4314, 52.5127, 52.5516], abs=1e-3)


def test_the_cumulative_sums_of_the_handbook() -> None:
    chart = cumulative_sums(DIAMETERS, 325.0, 1.0, slack_sigmas=0.3175, limit_sigmas=4.1959)
    assert chart.above == pytest.approx(SUMS_ABOVE, abs=0.0051)
    assert chart.outside[0] == 13


@pytest.mark.parametrize(
    # Average run lengths by Siegmund's approximation, as printed in Montgomery (from memory): 168 and 465.
    ("limit_sigmas", "run_length"),
    [(4.0, 168.0), (5.0, 465.0)],
)
def test_a_chart_in_control_speaks_falsely_as_rarely_as_published(
    limit_sigmas: float, run_length: float
) -> None:
    rng = np.random.default_rng(5)
    first = []
    for _ in range(300):
        outside = cumulative_sums(rng.normal(size=4000), 0.0, 1.0, limit_sigmas=limit_sigmas).outside
        first.append(outside[0] + 1 if outside else 4000)
    assert np.mean(first) == pytest.approx(run_length, rel=0.2)


def test_a_value_after_a_short_gap_weighs_little() -> None:
    """1 - exp(-0.1) = 0.09516."""
    assert weight_for_gap(0.1, 1.0) == pytest.approx(0.09516, abs=1e-5)


@settings(max_examples=40)
@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30), st.floats(-1e3, 1e3))
def test_a_chart_does_not_care_where_zero_lies(values: list[float], shift: float) -> None:
    here = moving_average(np.array(values), 0.0, 1.0)
    there = moving_average(np.array(values) + shift, shift, 1.0)
    assert there.average - shift == pytest.approx(here.average, abs=1e-6)


@pytest.mark.parametrize("values", [[float("nan")], [[1.0]], [float("inf")]])
def test_what_is_no_series_is_refused(values: list[float]) -> None:
    with pytest.raises(Unphysical):
        moving_average(np.array(values), 0.0, 1.0)
    with pytest.raises(Unphysical):
        cumulative_sums(np.array(values), 0.0, 1.0)


@pytest.mark.parametrize(("sigma", "weight"), [(0.0, 0.3), (1.0, 0.0), (1.0, 1.1), (float("nan"), 0.3)])
def test_bounds_that_mean_nothing_are_refused(sigma: float, weight: float) -> None:
    with pytest.raises(Unphysical):
        moving_average(SERIES, 50.0, sigma, weight)
