"""When to order and when a stock runs out: textbook cases, and what must hold whatever the numbers."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from server.physics.errors import Unphysical
from server.physics.statistics.demand import (
    lead_time_demand,
    normal_reorder_point,
    poisson_reorder_point,
    reorder_point,
    run_out,
)

SERVICE = st.floats(0.5, 0.995)
LEAST_OF_POISSON = [(0.5, 2), (1.0, 3), (2.0, 5), (3.0, 6), (5.0, 9), (6.0, 10)]


def test_stevenson_example_8_demand_over_the_lead_time_is_given() -> None:
    """Stevenson, Operations Management, inventory management, example 8: 50 t, 5 t, risk 3 %: 59.40 t."""
    assert normal_reorder_point(50.0, 5.0, 0.97) == pytest.approx(59.40, abs=0.005)


def test_stevenson_example_9_demand_of_a_week_and_two_weeks_of_lead_time() -> None:
    """Stevenson, as above, example 9: 50 a week, 3, two weeks, risk 10 %: 105.43."""
    mean, spread = lead_time_demand(50.0, 3.0, 2.0)
    assert normal_reorder_point(mean, spread, 0.90) == pytest.approx(105.43, abs=0.01)


def test_both_demand_and_lead_time_may_scatter() -> None:
    """Stevenson, as above: the variance is L·σd² + d²·σL²; the numbers are arithmetic."""
    mean, spread = lead_time_demand(4.0, 2.0, 9.0, 1.0)
    assert mean == 36.0
    assert spread == pytest.approx(math.sqrt(9 * 4 + 16))


@pytest.mark.parametrize(("mean", "least"), LEAST_OF_POISSON)
def test_the_least_stock_for_a_slow_mover_as_the_tables_have_it(mean: float, least: int) -> None:
    """Abramowitz and Stegun, 26.7: cumulative .9856 .9810 .9834 .9665 .9682 .9574 are the first above .95."""
    assert poisson_reorder_point(mean, 0.95) == least
    assert reorder_point(mean, mean, 0.95) == least


@given(st.floats(0.01, 60.0), SERVICE)
@settings(max_examples=60)
def test_a_general_library_finds_the_same_least_stock(mean: float, service: float) -> None:
    assert poisson_reorder_point(mean, service) == stats.poisson.ppf(service, mean)


def test_the_normal_law_is_wrong_for_a_slow_mover() -> None:
    """At a mean of 1 and 95 % it says 2.64, which a stock of two does not reach; three are needed."""
    assert normal_reorder_point(1.0, 1.0, 0.95) == pytest.approx(2.645, abs=0.001)
    assert reorder_point(1.0, 1.0, 0.95) == 3


@given(st.floats(0.01, 5.0), st.floats(0.01, 50.0), SERVICE, st.sampled_from([0.25, 2.0, 1024.0]))
@settings(max_examples=60)
def test_the_unit_in_which_it_is_counted_does_not_matter(
    step: float, takings: float, service: float, factor: float
) -> None:
    mean = step * takings
    plain = reorder_point(mean, mean * step, service)
    assert reorder_point(mean * factor, mean * step * factor**2, service) == pytest.approx(plain * factor)


@given(st.floats(0.0, 500.0), st.floats(0.01, 5.0), SERVICE)
@settings(max_examples=60)
def test_who_wants_to_be_surer_orders_no_later(mean: float, step: float, service: float) -> None:
    surer = service + (1.0 - service) / 2.0
    assert reorder_point(mean, mean * step, surer) >= reorder_point(mean, mean * step, service) >= 0.0


@given(st.floats(0.5, 100.0), st.floats(1.0, 50.0), st.floats(0.1, 2.0))
@settings(max_examples=60)
def test_a_stock_runs_out_about_when_mean_demand_says_and_the_band_holds_that_day(
    stock: float, taken: float, step: float
) -> None:
    band = run_out(stock, taken, taken * step, 12.0)
    assert band is not None
    assert band.best == pytest.approx(stock / taken * 12.0)
    assert band.contains(stock / taken * 12.0)


def test_the_band_of_the_day_it_runs_out_is_what_trials_give() -> None:
    """A rate known from 12 takings, 20 left: 400 000 trials of rate and waiting time, numpy's generator."""
    trials = np.random.default_rng(4)
    rate = trials.gamma(12.5, 1.0, 400_000)
    low, high = np.quantile(trials.gamma(20.0, 1.0 / rate), [0.025, 0.975])
    band = run_out(20.0, 12.0, 12.0, 1.0)
    assert band is not None
    assert band.low == pytest.approx(low, rel=0.01)
    assert band.high == pytest.approx(high, rel=0.01)


def test_more_takings_seen_make_the_band_narrower() -> None:
    few, many = run_out(20.0, 5.0, 5.0, 1.0), run_out(20.0, 500.0, 500.0, 100.0)
    assert few is not None
    assert many is not None
    assert few.half_width is not None
    assert many.half_width is not None
    assert many.half_width < few.half_width


def test_where_nothing_was_taken_there_is_no_day() -> None:
    assert run_out(5.0, 0.0, 0.0, 12.0) is None
    assert reorder_point(0.0, 0.0, 0.95) == 0.0


def test_what_is_gone_is_gone_now() -> None:
    band = run_out(-0.4, 3.0, 1.0, 12.0)
    assert band is not None
    assert (band.low, band.high) == (0.0, 0.0)


@pytest.mark.parametrize("service", [0.0, 1.0, -0.1, math.nan])
def test_no_stock_lasts_for_sure_or_never(service: float) -> None:
    with pytest.raises(Unphysical, match="service"):
        poisson_reorder_point(1.0, service)


@pytest.mark.parametrize("mean", [-1.0, math.nan, math.inf, 1e9])
def test_a_demand_nothing_can_have_is_refused(mean: float) -> None:
    with pytest.raises(Unphysical, match="mean"):
        poisson_reorder_point(mean, 0.95)
