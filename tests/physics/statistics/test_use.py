"""Forecasts of a limit against the worked cases of the reference sheet, and their properties."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from server.physics.errors import Unphysical
from server.physics.statistics import time_to_count_s, time_to_limit_s

DAY_S = 86400.0


def test_a_meter_read_four_times_reaches_its_limit_where_least_squares_say() -> None:
    """Readings (0, 18000), (7, 18120), (14, 18245), (28, 18480): slope 17.163 h/d, computed with polyfit."""
    days, readings = np.array([0.0, 7.0, 14.0, 28.0]), (18000.0, 18120.0, 18245.0, 18480.0)
    found = time_to_limit_s(tuple(days * DAY_S), readings, 20000.0)
    assert found is not None
    slope = np.polyfit(days, readings, 1)[0]
    assert slope == pytest.approx(17.163, abs=5e-4)
    assert found.best == pytest.approx((20000.0 - 18480.0) / slope * DAY_S)
    error = stats.linregress(days, readings).stderr * stats.t.ppf(0.975, 2)
    assert found.low == pytest.approx(1520.0 / (slope + error) * DAY_S)
    assert found.high == pytest.approx(1520.0 / (slope - error) * DAY_S)


def test_two_readings_give_a_date_and_no_latest() -> None:
    """19,100 h of 20,000 h at 118 h a week: 7.6 weeks, by hand."""
    found = time_to_limit_s((0.0, 56 * DAY_S), (19100.0 - 8 * 118.0, 19100.0), 20000.0)
    assert found is not None
    assert found.best == pytest.approx(900 / 118 * 7 * DAY_S)
    assert found.low == pytest.approx(900 * 3600.0)
    assert found.high is None


def test_a_meter_that_stood_still_has_no_date_and_one_that_is_past_its_limit_is_due() -> None:
    assert time_to_limit_s((0.0, DAY_S), (10.0, 10.0), 20.0) is None
    assert time_to_limit_s((), (), 20.0) is None
    found = time_to_limit_s((0.0, DAY_S), (10.0, 21.0), 20.0)
    assert found is not None
    assert found.high == 0.0
    with pytest.raises(Unphysical):
        time_to_limit_s((0.0, DAY_S), (10.0, 9.0), 20.0)


def test_the_limits_of_a_rate_are_those_of_garwood() -> None:
    """For 8 events the exact 95 % limits of the mean are 3.454 and 15.763 (Garwood 1936, table)."""
    found = time_to_count_s(8, 1.0, 1.0)
    assert found is not None
    assert found.high == pytest.approx(1 / 3.454, rel=1e-3)
    assert found.low == pytest.approx(1 / 15.763, rel=1e-3)
    never = time_to_count_s(0, 1.0, 1.0)
    assert never is not None
    assert (never.best, never.high) == (None, None)


@settings(max_examples=60)
@given(steps=st.lists(st.floats(0.1, 20.0), min_size=2, max_size=12), left=st.floats(0.5, 5000.0))
def test_the_earliest_is_never_sooner_than_running_all_the_time(steps: list[float], left: float) -> None:
    readings = np.cumsum(steps)
    times_s = np.arange(len(steps)) * DAY_S
    found = time_to_limit_s(tuple(times_s), tuple(readings), float(readings[-1]) + left)
    assert found is not None
    assert found.low is not None
    assert found.best is not None
    assert left * 3600.0 * (1 - 1e-9) <= found.low <= found.best
    assert found.high is None or found.high >= found.best
