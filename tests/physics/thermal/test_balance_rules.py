"""Rules that hold for every balance, whatever is in it."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.physics import thermal
from server.physics.errors import NotSolved
from server.physics.statistics import Band
from server.physics.thermal import (
    CapacityMap,
    Cryostat,
    HeaterPoint,
    HeaterTest,
    Lag,
    MapPoint,
    Run,
    Source,
    Support,
    Surface,
    balance,
    document,
    unsure,
)
from server.physics.thermal.kinds import KINDS
from tests.physics.thermal.bench import (
    GREASED,
    SHIELD_LAG,
    bench_a,
    best,
    loom,
    phosphor_bronze_loom,
    platform_K,
)
from tests.physics.thermal.test_document import elements

STAGES = ("vessel", "shield", "platform", "sample")


@st.composite
def coolers(draw: st.DrawFn) -> thermal.Cooler:
    """Coolers of which no stage gets colder for more heat: all cross terms zero or above."""
    own, cross = st.floats(0.2, 3.0), st.floats(0.0, 0.5)
    if draw(st.booleans()):
        a, b, c, d = draw(own), draw(cross), draw(cross), draw(st.floats(1.0, 10.0))
        points = [HeaterPoint("shield", q, 32.0 + a * q, 3.2 + c * q / 50.0) for q in (0.0, 3.0, 9.0)]
        points += [HeaterPoint("platform", q, 32.0 + b * q, 3.2 + d * q) for q in (0.0, 0.1, 0.4)]
        return HeaterTest(tuple(points))
    a, b, c, d = draw(own), draw(cross), draw(cross), draw(st.floats(0.5, 3.0))
    grid = [(one, two) for one in (0.0, 10.0, 40.0) for two in (0.0, 0.3, 1.0)]
    return CapacityMap(
        tuple(MapPoint(p, q, 28.0 + a * p + b * q, 2.8 + d * q + c * p / 50.0) for p, q in grid)
    )


@st.composite
def looms(draw: st.DrawFn, key: str) -> Run:
    """Runs of a few metals, lagged well, badly or not."""
    metal = draw(st.sampled_from(["phosphor-bronze", "copper-rrr-100", "stainless-304"]))
    lags = draw(st.sampled_from([(), (SHIELD_LAG,), (Lag("shield", 0.003, "none", "good"),)]))
    ends_on = draw(st.sampled_from(["platform", "sample"]))
    outer_m, inner_m = draw(st.floats(0.1, 1.0)), draw(st.floats(0.1, 1.0))
    lengths_m = {("vessel", "shield"): outer_m, ("shield", ends_on): inner_m}
    count, diameter_m = draw(st.integers(1, 30)), draw(st.floats(5e-5, 5e-4))
    return Run(key, "wire", metal, count, diameter_m, lengths_m, lags, ends_on)


@st.composite
def cold_things(draw: st.DrawFn) -> thermal.Element:
    """Elements without current."""
    key = draw(st.text("abcdefgh", min_size=6, max_size=6))
    kind = draw(st.sampled_from(["run", "support", "source", "surface"]))
    if kind == "run":
        return draw(looms(key))
    if kind == "support":
        return Support(key, "g10-warp", 3, draw(st.floats(1e-6, 1e-4)), 0.05, "shield", "platform")
    if kind == "source":
        return Source(
            key, "heater", draw(st.sampled_from(["shield", "platform", "sample"])), draw(st.floats(0, 0.5))
        )
    area_m2 = draw(st.floats(0.01, 0.5))
    return Surface(key, area_m2=area_m2, cold_finish="handled-metal", hot_finish="glass")


Build = list[thermal.Element]
builds = st.lists(cold_things(), max_size=4, unique_by=lambda element: element.key)


@settings(max_examples=60, deadline=None)
@given(coolers(), builds, st.sampled_from(STAGES[1:]), st.floats(1e-4, 0.3))
def test_more_heat_never_makes_a_stage_colder(
    cooler: thermal.Cooler, build: list[thermal.Element], stage: str, more_W: float
) -> None:
    cryostat = Cryostat(STAGES, cooler)
    before = balance(cryostat, [GREASED, *build])
    after = balance(cryostat, [GREASED, *build, Source("more heat", "heater", stage, more_W)])
    for name, band in before.temperatures.items():
        warmer = after.temperatures[name]
        if band.best is not None and warmer.best is not None:
            assert warmer.best >= band.best - 1e-7
        low, then = band.low, after.temperatures[name].low
        assert low is not None
        assert then is not None


@settings(max_examples=40, deadline=None)
@given(coolers(), builds)
def test_a_band_contains_its_best(cooler: thermal.Cooler, build: list[thermal.Element]) -> None:
    budget = balance(Cryostat(STAGES, cooler), [GREASED, *build])
    tables = [budget.temperatures, *budget.heats.values(), *budget.costs.values()]
    for band in (band for table in tables for band in table.values()):
        assert band.low is not None
        parts = [part for part in (band.low, band.best, band.high) if part is not None]
        assert parts == sorted(parts)


@settings(max_examples=40, deadline=None)
@given(builds)
def test_what_lands_on_the_sample_leaves_through_its_joint(build: list[thermal.Element]) -> None:
    budget = balance(bench_a(), [GREASED, *build])
    on_sample = sum(heats["sample"].middle for heats in budget.heats.values())
    assert on_sample == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=120, deadline=None)
@given(st.lists(st.sampled_from(sorted(KINDS)).flatmap(elements), max_size=3))
def test_nothing_that_can_be_written_makes_the_balance_fall_over(build: list[thermal.Element]) -> None:
    try:
        budget = balance(bench_a(), build)
    except NotSolved:
        return
    again = json.loads(json.dumps(document.write_budget(budget), allow_nan=False))
    assert document.read_budget(again) == budget
    for stage, margin in budget.margins.items():
        assert margin.status != "within" or stage in budget.temperatures


def test_the_cost_of_the_only_element_is_all_it_changes() -> None:
    alone = balance(bench_a(), [GREASED, phosphor_bronze_loom(lagged=False)])
    nothing = balance(bench_a(), [GREASED])
    cost = best(alone.costs["loom"]["platform"])
    assert cost == pytest.approx(platform_K(alone) - platform_K(nothing), abs=1e-8)
    assert alone.costs["mount"] == {}


def test_a_cost_is_solved_again_for_each_element() -> None:
    build: Build = [
        GREASED,
        phosphor_bronze_loom(),
        loom("copper-rrr-100", key="copper"),
        Source("s", power_W=0.02),
    ]
    everything = balance(bench_a(), build)
    for left_out in ("loom", "copper", "s"):
        without = balance(bench_a(), [element for element in build if element.key != left_out])
        for stage in ("shield", "platform", "sample"):
            saved = best(everything.temperatures[stage]) - best(without.temperatures[stage])
            assert best(everything.costs[left_out][stage]) == pytest.approx(saved, abs=1e-7)


def test_two_halves_bring_what_the_whole_brings() -> None:
    whole = balance(bench_a(), [GREASED, phosphor_bronze_loom()])
    half = replace(phosphor_bronze_loom(), count=12)
    halves = balance(bench_a(), [GREASED, half, replace(half, key="other")])
    for stage in ("shield", "platform", "sample"):
        assert best(halves.temperatures[stage]) == pytest.approx(best(whole.temperatures[stage]), abs=1e-9)
    one, other = whole.temperatures["shield"], halves.temperatures["shield"]
    assert (one.low, one.high) == pytest.approx((other.low, other.high), abs=1e-6)


def test_data_shared_by_many_looms_are_wrong_for_all_of_them_at_once() -> None:
    many = [replace(phosphor_bronze_loom(lagged=False, key=f"loom {n}"), count=4) for n in range(6)]
    apart = balance(bench_a(), [GREASED, *many])
    together = balance(bench_a(), [GREASED, phosphor_bronze_loom(lagged=False)])
    one, other = apart.temperatures["platform"].half_width, together.temperatures["platform"].half_width
    assert one == pytest.approx(other, rel=1e-3)
    cause = next(c for c in apart.band_causes if c.what == "conductivity of phosphor-bronze")
    assert cause.key is None


def test_derivatives_agree_with_solving_again_where_little_changes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    build: Build = [GREASED, replace(phosphor_bronze_loom(), diameter_m=Band(0.125e-3, 0.127e-3, 0.129e-3))]
    by_derivatives = balance(bench_a(), build).temperatures["platform"]
    monkeypatch.setattr(unsure, "SMALL", 0.0)
    solved_again = balance(bench_a(), build).temperatures["platform"]
    assert by_derivatives.low == pytest.approx(solved_again.low, abs=1e-5)
    assert by_derivatives.high == pytest.approx(solved_again.high, abs=1e-5)


def test_what_is_unsure_by_a_lot_is_solved_again(monkeypatch: pytest.MonkeyPatch) -> None:
    strap = Support("strap", "copper-rrr-100", 1, Band(1e-8, 4e-7, 2e-6), 0.15, "shield", "platform")
    ends = [replace(strap, area_m2=area_m2) for area_m2 in (1e-8, 2e-6)]
    exact = [platform_K(balance(bench_a(limits_K={}), [GREASED, end])) for end in ends[:1]]
    band = balance(bench_a(), [GREASED, strap]).temperatures["platform"]
    assert band.low is not None
    assert band.low == pytest.approx(exact[0], abs=0.15)
    monkeypatch.setattr(unsure, "SMALL", 1e9)
    linear = balance(bench_a(), [GREASED, strap]).temperatures["platform"]
    assert linear.low is not None
    assert abs(linear.low - exact[0]) > abs(band.low - exact[0])


def test_causes_come_widest_first_and_name_the_element() -> None:
    build: Build = [GREASED, replace(phosphor_bronze_loom(), diameter_m=Band(0.1e-3, 0.127e-3, 0.16e-3))]
    found = [cause for cause in balance(bench_a(), build).band_causes if cause.stage == "platform"]
    widths = [cause.half_width_K for cause in found]
    assert widths == sorted(widths, key=lambda width: -(width or np.inf))
    assert any(cause.key == "loom" and cause.what == "diameter" for cause in found)
