"""What an element costs, and how well that is known.

Costs of given watts are the slope of the heater test, worked out by hand; the rest are rules.
"""

from dataclasses import replace

import pytest

from server.physics.statistics import Band
from server.physics.thermal import (
    Bare,
    Budget,
    HeaterTest,
    Joint,
    Lid,
    Run,
    Source,
    Support,
    Touch,
    balance,
)
from tests.physics.thermal.bench import COAX_LAG, GREASED, LENGTHS_m, bench_a, best, phosphor_bronze_loom

POSTS = Support("posts", "g10-warp", 4, Band(0.8e-5, 1e-5, 1.2e-5), 0.05, "shield", "platform")
HUNDRED_mW = Source("heater", "heater", "platform", 0.100)


def ends(band: Band) -> tuple[float, float]:
    """Both ends, which must be there."""
    assert band.low is not None
    assert band.high is not None
    return band.low, band.high


def cost(budget: Budget, key: str, stage: str = "platform") -> Band:
    return budget.costs[key][stage]


def test_a_known_heat_costs_as_well_as_the_slope_is_known() -> None:
    # 7.5 mK/mW, the slope good to 5 %: by hand.
    found = cost(balance(bench_a(), [GREASED, HUNDRED_mW]), "heater")
    assert best(found) == pytest.approx(0.750, abs=1e-6)
    assert ends(found) == pytest.approx((0.7125, 0.7875), abs=1e-4)


def test_what_the_bare_reference_has_as_well_costs_as_badly_as_its_heat_is_known() -> None:
    budget = balance(bench_a(bare=Bare((POSTS,))), [GREASED, POSTS])
    heat_W, cost_K = budget.heats["posts"]["platform"], cost(budget, "posts")
    low_W, high_W = ends(heat_W)
    low_K, high_K = ends(cost_K)
    assert low_W / best(heat_W) < 0.9
    assert low_K / best(cost_K) == pytest.approx(low_W / best(heat_W), rel=0.03)
    assert high_K / best(cost_K) == pytest.approx(high_W / best(heat_W), rel=0.03)


def test_how_two_cooldowns_differ_is_in_a_temperature_and_not_in_a_cost() -> None:
    cooler = bench_a().cooler
    assert isinstance(cooler, HeaterTest)
    budget = balance(bench_a(cooler=replace(cooler, slope_uncertainty=0.0)), [GREASED, HUNDRED_mW])
    low_K, high_K = ends(budget.temperatures["platform"])
    assert high_K - low_K == pytest.approx(0.040, rel=0.01)
    assert ends(cost(budget, "heater")) == pytest.approx((0.750, 0.750), abs=1e-6)


def test_more_heat_never_makes_colder_within_the_bands() -> None:
    touch = Touch("touch", "not-checked", "shield", "platform")
    centre = Run("rf", "coax", "stainless-304", 4, 2.2e-3, LENGTHS_m, (COAX_LAG,))
    spread_K = bench_a().cooler.spread_K
    for element in (touch, centre, phosphor_bronze_loom(), replace(phosphor_bronze_loom(), diameter_m=None)):
        budget = balance(bench_a(), [GREASED, element])
        low_K, cost_K = budget.temperatures["platform"].low, cost(budget, element.key).low
        assert cost_K is not None
        assert cost_K >= 0.0
        assert low_K is not None
        assert low_K >= 3.18 - 1.2 * spread_K["platform"]


def test_several_doubts_of_one_element_end_at_its_least_heat() -> None:
    """A touch that may be none ends at none; one that is there at its smallest conductance."""
    conductance_W_K = Band(0.1e-3, 1e-3, 4e-3)
    lowest = balance(bench_a(), [GREASED, Touch("t", "present", "shield", "platform", 0.1e-3)])
    there = balance(bench_a(), [GREASED, Touch("t", "present", "shield", "platform", conductance_W_K)])
    assert cost(there, "t").low == pytest.approx(best(cost(lowest, "t")), rel=0.15)


def test_beyond_the_heater_test_costs_are_more_than() -> None:
    budget = balance(bench_a(), [GREASED, Source("heater", "heater", "platform", 0.200)])
    assert budget.temperatures["platform"].best is None
    for stage in ("platform", "sample"):
        found = cost(budget, "heater", stage)
        assert found.best is None
        assert found.high is None
        assert found.low is not None
        assert found.low > 1.3


def test_what_may_bring_a_stage_beyond_the_heater_test_has_no_upper_end() -> None:
    unsure = Source("heater", "heater", "platform", Band(0.100, 0.140, 0.300))
    found = cost(balance(bench_a(), [GREASED, unsure, Source("small", power_W=0.001)]), "heater")
    assert best(found) == pytest.approx(1.05, abs=1e-6)
    assert found.high is None


def test_a_lid_that_is_off_still_costs_more_than() -> None:
    found = cost(balance(bench_a(), [GREASED, Lid("lid", "off")]), "lid")
    assert found.high is None


def test_a_joint_has_no_cost() -> None:
    assert balance(bench_a(), [Joint("mount", resistance_K_W=40.0)]).costs["mount"] == {}
