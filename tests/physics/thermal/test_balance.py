"""The balance against closed forms, against the invented reference instrument, and against its own rules.

Numbers of the reference instrument are common practice without a source; loads of wires are worked out from
published conductivities, or from memory where said.
"""

import math
from dataclasses import replace

import pytest

from server.physics import thermal
from server.physics.errors import NotSolved, Unphysical
from server.physics.materials import constant_material, material
from server.physics.statistics import Band
from server.physics.thermal import (
    Bare,
    CapacityMap,
    Cryostat,
    Gas,
    Hole,
    Joint,
    Lag,
    Lid,
    MapPoint,
    Run,
    Source,
    Support,
    Surface,
    Touch,
    Window,
    balance,
    solve,
)
from server.physics.thermal import state as thermal_state
from tests.physics.thermal.bench import (
    DRY,
    GREASED,
    SHIELD_LAG,
    LENGTHS_m,
    bench_a,
    best,
    coax,
    loom,
    phosphor_bronze_loom,
    platform_K,
)

TWO = ("vessel", "shield", "platform")


def linear_map(first: tuple[float, float], second: tuple[float, float], cross: float = 0.0) -> CapacityMap:
    """T1 = a + b·Q1, T2 = c + d·Q2 + cross·Q1 on a grid of loads."""
    loads = [(one, two) for one in (0.0, 20.0, 40.0) for two in (0.0, 0.5, 1.0)]
    points = [
        MapPoint(one, two, first[0] + first[1] * one, second[0] + second[1] * two + cross * one)
        for one, two in loads
    ]
    return CapacityMap(tuple(points), capacity_uncertainty=0.0, spread_K={})


def test_two_stages_meet_where_two_straight_lines_meet() -> None:
    # Worked out by hand: Q1 = 1.5 (T1 − 30), load 10 + 0.02 (300 − T1); Q2 = 0.8 (T2 − 2.8),
    # load 0.10 + 0.004 (T1 − T2). What the straps take from the shield is given back to it by a heater,
    # since the case leaves it out.
    cooler = linear_map((30.0, 1.0 / 1.5), (2.8, 1.0 / 0.8))
    straps_W = 0.004 * (61.0 / 1.52 - (0.8 * 2.8 + 0.10 + 0.004 * 61.0 / 1.52) / 0.804)
    elements: list[thermal.Element] = [
        Source("ten", "heater", "shield", 10.0 + straps_W),
        Source("tenth", "heater", "platform", 0.10),
        Support("posts", constant_material(2.0), 1, 0.01, 1.0, "vessel", "shield"),
        Support("straps", constant_material(0.4), 1, 0.01, 1.0, "shield", "platform"),
    ]
    budget = balance(Cryostat(TWO, cooler, vessel_K=300.0), elements)
    assert best(budget.temperatures["shield"]) == pytest.approx(61.0 / 1.52, abs=1e-8)
    assert best(budget.temperatures["platform"]) == pytest.approx(3.110107, abs=5e-7)
    assert sum(best(heats["shield"]) for heats in budget.heats.values()) == pytest.approx(15.19737, abs=5e-6)
    assert sum(best(heats["platform"]) for heats in budget.heats.values()) == pytest.approx(
        0.248086, abs=5e-7
    )


def test_a_map_on_a_grid_is_met_exactly_where_it_is_bilinear() -> None:
    # Derived: T1 = 30 + 0.7 Q1 + 1.0 Q2, T2 = 2.6 + 1.1 Q2 + 0.004 Q1, at (18, 0.3) W.
    points = [
        MapPoint(q1, q2, 30.0 + 0.7 * q1 + 1.0 * q2, 2.6 + 1.1 * q2 + 0.004 * q1)
        for q1 in (0.0, 20.0, 40.0)
        for q2 in (0.0, 0.5, 1.0)
    ]
    loads = [Source("a", "heater", "shield", 18.0), Source("b", "heater", "platform", 0.3)]
    budget = balance(Cryostat(TWO, CapacityMap(tuple(points))), loads)
    assert best(budget.temperatures["shield"]) == pytest.approx(42.9, abs=1e-8)
    assert best(budget.temperatures["platform"]) == pytest.approx(3.002, abs=1e-8)


def test_the_bare_reference_gives_back_what_was_measured() -> None:
    budget = balance(bench_a(), [GREASED])
    assert best(budget.temperatures["shield"]) == pytest.approx(32.0)
    assert best(budget.temperatures["platform"]) == pytest.approx(3.18)


def test_what_the_bare_reference_has_counts_only_by_its_change() -> None:
    house: list[thermal.Element] = [
        GREASED,
        phosphor_bronze_loom(key="house"),
        Surface("walls", cold_finish="handled-metal"),
    ]
    cryostat = bench_a(bare=Bare(tuple(house)))
    assert platform_K(balance(cryostat, house)) == pytest.approx(3.18, abs=1e-9)
    without = balance(cryostat, [GREASED])
    assert platform_K(without) < 3.18
    twice = balance(cryostat, [*house, phosphor_bronze_loom(key="second")])
    once = balance(bench_a(), [GREASED, phosphor_bronze_loom(key="second")])
    assert platform_K(twice) == pytest.approx(platform_K(once), abs=1e-4)


def test_what_is_unsure_of_both_does_not_count_between_them() -> None:
    posts = Support("posts", "g10-warp", 3, Band(1e-5, 3e-5, 9e-5), 0.05)
    shared = balance(bench_a(bare=Bare((posts,))), [GREASED, posts])
    alone = balance(bench_a(), [GREASED, posts])
    narrow, wide = shared.temperatures["platform"].half_width, alone.temperatures["platform"].half_width
    assert narrow is not None
    assert wide is not None
    assert narrow < wide / 2.0
    assert not [cause for cause in shared.band_causes if cause.key == "posts" and cause.stage == "platform"]


def test_with_a_map_the_bare_load_nobody_can_name_is_kept() -> None:
    cooler = linear_map((30.0, 0.5), (2.8, 1.2), cross=0.003)
    bare = Bare((Source("known", "heater", "platform", 0.05),), {"shield": 38.0, "platform": 3.4})
    cryostat = Cryostat(TWO, cooler, bare)
    same = balance(cryostat, bare.elements)
    assert best(same.temperatures["shield"]) == pytest.approx(38.0)
    assert best(same.temperatures["platform"]) == pytest.approx(3.4)
    more = balance(cryostat, [*bare.elements, Source("more", "heater", "platform", 0.1)])
    assert platform_K(more) == pytest.approx(3.4 + 0.1 * 1.2)


def test_a_flexible_link_adds_its_own_slope() -> None:
    cooler = linear_map((30.0, 0.5), (2.8, 1.2))
    linked = replace(cooler, link="flexible", link_W_K=0.25)
    load = [Source("load", "heater", "platform", 0.1)]
    direct = platform_K(balance(Cryostat(TWO, cooler), load))
    assert platform_K(balance(Cryostat(TWO, linked), load)) == pytest.approx(direct + 0.1 / 0.25)
    unknown = balance(Cryostat(TWO, replace(cooler, link="flexible")), load).temperatures["platform"]
    assert unknown.best is None
    assert unknown.contains(direct + 0.1 / 0.25)


def test_an_aged_cooler_is_warmer_and_says_so_in_its_band() -> None:
    cooler = linear_map((30.0, 0.5), (2.8, 1.2))
    load = [Source("load", "heater", "platform", 0.1)]
    aged = balance(Cryostat(TWO, replace(cooler, ageing={"platform": 0.8})), load)
    assert platform_K(aged) == pytest.approx(2.8 + 1.2 * 0.1 / 0.8)
    unsure = balance(Cryostat(TWO, replace(cooler, ageing={"platform": Band(0.7, 0.8, 0.9)})), load)
    assert unsure.temperatures["platform"].contains(2.8 + 1.2 * 0.1 / 0.72)
    assert any("ageing" in cause.what for cause in unsure.band_causes)


LAGGED = pytest.mark.parametrize(
    ("run", "to_shield_W", "to_platform_W", "tolerance"),
    [
        # NIST fits for copper, stainless; the rest from memory, so ±30 %. The shield here is at 32 K, not 35.
        (loom("phosphor-bronze"), 14.4e-3, 0.56e-3, 0.30),
        (loom("manganin"), 4.4e-3, 0.21e-3, 0.30),
        (coax("stainless-304"), 73e-3, 3.4e-3, 0.25),
        (coax("beryllium-copper"), 420e-3, 15e-3, 0.35),
        (coax("cupro-nickel-70-30", 1.2e-3), 41e-3, 2.4e-3, 0.35),
        (loom("copper-rrr-100"), None, 123e-3, 0.20),
    ],
)


@LAGGED
def test_a_lagged_run_brings_what_its_conductivity_integrals_say(
    run: Run, to_shield_W: float | None, to_platform_W: float, tolerance: float
) -> None:
    heats = balance(bench_a(), [GREASED, run]).heats[run.key]
    assert best(heats["platform"]) == pytest.approx(to_platform_W, rel=tolerance)
    if to_shield_W is not None:
        assert best(heats["shield"]) == pytest.approx(to_shield_W - to_platform_W, rel=tolerance)


@pytest.mark.parametrize(
    ("run", "low_W", "high_W"),
    [
        (loom("phosphor-bronze", lagged=False), 6.4e-3, 10.5e-3),
        (loom("manganin", lagged=False), 2.4e-3, 3.6e-3),
        (loom("copper-rrr-100", lagged=False), 0.120, 0.140),
        (coax("stainless-304", lagged=False), 45e-3, 53e-3),
    ],
)
def test_an_unlagged_run_brings_all_of_it_to_the_cold_end(run: Run, low_W: float, high_W: float) -> None:
    heats = balance(bench_a(), [GREASED, run]).heats[run.key]
    assert heats["shield"] == Band.exact(0.0)
    assert low_W <= best(heats["platform"]) <= high_W


def test_heat_is_neither_made_nor_lost() -> None:
    run = replace(phosphor_bronze_loom(ends_on="sample"), current_A=0.0)
    budget = balance(bench_a(), [GREASED, run, Source("chip", "sensor", "sample", 1e-3)])
    through_joint = budget.heats["mount"]
    assert best(through_joint["platform"]) == pytest.approx(-best(through_joint["sample"]))
    landed = best(budget.heats["loom"]["sample"]) + 1e-3
    assert best(through_joint["platform"]) == pytest.approx(landed)
    assert through_joint["platform"].contains(landed * 1.02)


def test_without_its_lag_the_loom_warms_platform_and_sample_and_eases_the_shield() -> None:
    # Platform +0.04 to +0.07 K (0.02 to 0.10), shield down about 0.01 K, sample +0.2 to +0.5 K at 40 K/W.
    lagged = balance(bench_a(), [GREASED, phosphor_bronze_loom(ends_on="sample")])
    loose = balance(bench_a(), [GREASED, phosphor_bronze_loom(lagged=False, ends_on="sample")])
    rise = {s: best(loose.temperatures[s]) - best(lagged.temperatures[s]) for s in loose.temperatures}
    assert 0.04 <= rise["platform"] <= 0.075
    assert -0.03 <= rise["shield"] <= -0.005
    assert 0.2 <= rise["sample"] <= 0.5
    assert "no-lag" in [warning.code for warning in loose.warnings if warning.key == "loom"]


def test_a_lag_does_not_rescue_copper_and_the_budget_says_so() -> None:
    # About +0.9 K (0.4 to 1.8), and the lag hardly helps.
    lagged = balance(bench_a(), [GREASED, loom("copper-rrr-100")])
    assert 0.4 <= platform_K(lagged) - 3.18 <= 1.8
    assert lagged.margins["platform"].status == "over"
    said = [warning for warning in lagged.warnings if warning.code == "copper-lagged"]
    assert "hardly helps" in said[0].text
    assert "over-limit" in [warning.code for warning in lagged.warnings]


def test_with_the_lid_off_it_says_more_than_and_no_precise_number() -> None:
    # "> +2 K, cannot say better", top of the list, sample worse than platform.
    budget = balance(bench_a(), [GREASED, phosphor_bronze_loom(), Lid("lid", "off")])
    platform, sample = budget.temperatures["platform"], budget.temperatures["sample"]
    assert (platform.best, platform.high) == (None, None)
    assert (sample.best, sample.high) == (None, None)
    assert platform.low is not None
    assert sample.low is not None
    assert platform.low - 3.18 > 2.0
    assert sample.low > platform.low
    assert budget.costs["lid"]["platform"].high is None
    assert budget.margins["platform"].status == "over"
    assert "lid-off" in [warning.code for warning in budget.warnings]
    assert (budget.band_causes[0].key, budget.band_causes[0].half_width_K) == ("lid", None)


def test_lid_off_is_more_than_where_it_is_not_over() -> None:
    budget = balance(bench_a(limits_K={"platform": 20.0}), [GREASED, Lid("lid", "off")])
    assert budget.margins["platform"].status == "more than"


def test_an_unknown_alloy_becomes_a_range_towards_copper() -> None:
    known = balance(bench_a(), [GREASED, phosphor_bronze_loom()]).temperatures["platform"]
    copper = balance(bench_a(), [GREASED, loom("copper-rrr-100")]).temperatures["platform"]
    unknown = balance(bench_a(), [GREASED, loom(None)])
    band = unknown.temperatures["platform"]
    assert band.best is None
    assert band.low is not None
    assert band.high is not None
    assert band.low <= best(known)
    assert band.high >= best(copper) - 0.01
    assert "reel" in next(w.text for w in unknown.warnings if w.code == "material-not-known")


def test_a_dry_mount_leaves_the_platform_and_warms_the_sample() -> None:
    # Warmer by heat × 260 K/W.
    source = Source("chip", "sensor", "sample", 0.5e-3)
    greased, dry = (balance(bench_a(), [joint, source]) for joint in (GREASED, DRY))
    assert platform_K(dry) == pytest.approx(platform_K(greased), abs=1e-6)
    warmer_K = best(dry.temperatures["sample"]) - best(greased.temperatures["sample"])
    assert warmer_K == pytest.approx(0.5e-3 * 260.0, rel=1e-6)


def test_a_mount_nobody_measured_is_told_by_its_filler() -> None:
    source = Source("chip", "sensor", "sample", 0.5e-3)
    greased, dry = (balance(bench_a(), [Joint("m", filler=f), source]) for f in ("greased", "dry"))
    warmer_K = best(dry.temperatures["sample"]) - best(greased.temperatures["sample"])
    assert warmer_K == pytest.approx(0.5e-3 * 260.0, rel=1e-6)
    unknown = balance(bench_a(), [Joint("m"), source]).temperatures["sample"]
    assert unknown.best is None


def test_more_torque_carries_more_heat() -> None:
    source = Source("chip", "sensor", "sample", 1e-3)
    torques = (0.2, 0.6)
    joints = [Joint("m", filler="dry", screws=2, torque_N_m=torque) for torque in torques]
    loose, tight = (best(balance(bench_a(), [j, source]).temperatures["sample"]) for j in joints)
    assert tight < loose


def test_a_sample_without_a_joint_has_no_temperature_and_reads_incomplete() -> None:
    budget = balance(bench_a(), [phosphor_bronze_loom()])
    assert "sample" not in budget.temperatures
    assert budget.margins["sample"].status == "incomplete"
    assert budget.margins["platform"].status == "within"
    assert [gap.stage for gap in budget.gaps] == ["sample"]


def test_a_mount_and_a_sample_hang_one_on_the_other() -> None:
    stages = ("vessel", "shield", "platform", "mount", "sample")
    joints = [
        Joint("low", "mount", "platform", resistance_K_W=10.0),
        Joint("high", "sample", "mount", resistance_K_W=30.0),
    ]
    budget = balance(bench_a(stages=stages), [*joints, Source("chip", "sensor", "sample", 1e-3)])
    found = {stage: best(band) for stage, band in budget.temperatures.items()}
    assert found["mount"] - found["platform"] == pytest.approx(0.010)
    assert found["sample"] - found["mount"] == pytest.approx(0.030)


@pytest.mark.parametrize(
    "stages", [("vessel", "platform"), ("vessel", "shield"), TWO, ("vessel", "platform", "sample")]
)
def test_any_stage_but_the_vessel_may_be_absent(stages: tuple[str, ...]) -> None:
    end = stages[-1]
    run = Run("w", "wire", "manganin", 4, 1e-4, {("vessel", end): 0.5}, ends_on=end)
    joints = [GREASED] if "sample" in stages else []
    budget = balance(bench_a(stages=stages, limits_K={}), [run, *joints])
    assert set(budget.temperatures) == set(stages[1:])
    assert not budget.gaps


BAD = [
    replace(phosphor_bronze_loom(key="bad"), diameter_m=-1.0),
    replace(phosphor_bronze_loom(key="bad"), diameter_m=math.nan),
    replace(phosphor_bronze_loom(key="bad"), material="unobtainium"),
    replace(phosphor_bronze_loom(key="bad"), ends_on="mount"),
    replace(phosphor_bronze_loom(key="bad"), lengths_m={}),
    replace(phosphor_bronze_loom(key="bad"), lags=(Lag("mount", 0.01, "varnish", "good"),)),
    replace(phosphor_bronze_loom(key="bad"), material=3),  # type: ignore[arg-type]
    replace(phosphor_bronze_loom(key="bad"), count="many"),  # type: ignore[arg-type]
    replace(loom("nylon", key="bad"), current_A=0.01),
    replace(loom("manganin", key="bad"), current_A=50.0),
    Surface("bad", cold_finish="mirror"),
    Source("bad", power_W=math.inf),
    Joint("bad", "sample", "mount"),
    Support("bad", "pctfe"),
]


@pytest.mark.parametrize("bad", BAD, ids=range(len(BAD)))
def test_an_element_that_cannot_be_computed_is_a_gap_and_never_within(bad: thermal.Element) -> None:
    budget = balance(bench_a(), [GREASED, bad, phosphor_bronze_loom()])
    assert [gap.key for gap in budget.gaps] == ["bad"]
    assert budget.gaps[0].reason.endswith(".")
    assert budget.heats["bad"] == {}
    assert budget.costs["bad"] == {}
    assert budget.margins["sample"].status == "incomplete"
    assert budget.margins["platform"].status == "incomplete"


def test_junk_in_place_of_an_element_is_a_gap() -> None:
    budget = balance(bench_a(), [GREASED, None, 4, "loom"])  # type: ignore[list-item]
    assert len(budget.gaps) == 3
    assert budget.margins["platform"].status == "incomplete"


def test_a_key_that_is_there_twice_is_a_gap() -> None:
    budget = balance(bench_a(), [GREASED, phosphor_bronze_loom(), phosphor_bronze_loom()])
    assert "twice" in budget.gaps[0].reason


def test_a_run_outside_the_data_of_its_metal_is_a_gap_that_says_so() -> None:
    budget = balance(bench_a(), [GREASED, loom("lead")])
    assert "is known from 5 to 310 K" in budget.gaps[0].reason
    assert "outside-data" in [warning.code for warning in budget.warnings]
    assert budget.margins["platform"].status == "incomplete"


def test_a_cooler_nothing_is_known_of_is_refused() -> None:
    with pytest.raises(Unphysical, match="at least one point"):
        balance(bench_a(cooler=thermal.HeaterTest(())), [])


def test_a_balance_that_does_not_settle_is_never_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solve, "_MOST_STEPS", 1)
    with pytest.raises(NotSolved):
        balance(bench_a(), [GREASED, coax("copper-rrr-100")])


def test_beyond_the_heater_test_it_says_more_than() -> None:
    budget = balance(bench_a(limits_K={"platform": 9.0}), [GREASED, Source("big", "heater", "platform", 0.3)])
    band = budget.temperatures["platform"]
    assert (band.best, band.high) == (None, None)
    assert band.low == pytest.approx(3.18 + 0.3 * 7.5, abs=0.2)
    assert budget.temperatures["sample"].high is None
    assert budget.margins["platform"].status == "more than"
    assert "beyond-heater-test" in [warning.code for warning in budget.warnings]


def test_inside_the_heater_test_it_is_a_straight_line() -> None:
    for added_W in (0.01, 0.05, 0.14):
        budget = balance(bench_a(), [GREASED, Source("heater", "heater", "platform", added_W)])
        assert platform_K(budget) == pytest.approx(3.18 + 7.5 * added_W, abs=1e-6)
    assert "beyond-heater-test" not in [warning.code for warning in budget.warnings]


def test_windows_and_bores_bring_what_their_bands_of_the_spectrum_say() -> None:
    # 25 mm: 0.2255 W black at 300 K; no glass 45 to 225 mW, fused silica 1 to 2 mW and 0.4 mW of its own
    # at 60 K (computed; cut-off and shares from memory).
    bored = balance(bench_a(), [GREASED, Lid("lid", "bored")])
    inside = [bored.heats["lid"][stage] for stage in ("platform", "sample")]
    assert sum(best(band) for band in inside) == pytest.approx(0.5 * 0.2255, rel=0.01)
    assert inside[0].low == pytest.approx(0.045, rel=0.1)
    assert inside[0].high == pytest.approx(0.225, rel=0.1)
    glazed = balance(bench_a(), [GREASED, Lid("lid", "bored", bore_glass="fused-silica")])
    assert 0.5e-3 < best(glazed.heats["lid"]["platform"]) < 2.5e-3
    assert best(glazed.heats["lid"]["shield"]) == pytest.approx(0.2, rel=0.1)
    band = glazed.costs["lid"]["platform"]
    assert band.low is not None
    assert band.high is not None
    assert band.low < 0.010 < band.high
    window = balance(bench_a(), [GREASED, Window("port", "in", "fused-silica")])
    assert best(window.heats["port"]["shield"]) == pytest.approx(best(glazed.heats["lid"]["shield"]))


@pytest.mark.parametrize(("diameter_m", "black_W"), [(0.010, 36e-3), (0.025, 0.225)])
def test_a_clear_hole_is_at_most_black(diameter_m: float, black_W: float) -> None:
    # σ T⁴ at 300 K: 10 mm 36 mW, 25 mm 225 mW.
    heat = balance(bench_a(), [GREASED, Hole("hole", diameter_m=diameter_m)]).heats["hole"]["platform"]
    assert heat.high == pytest.approx(black_W, rel=0.01)
    assert best(heat) == pytest.approx(black_W / 2.0, rel=0.01)


def test_everything_closed_gives_the_lowest_base() -> None:
    # A fact of the trade (common practice, no source).
    closed: list[thermal.Element] = [Lid("lid", "on"), Window("port", "in", "fused-silica")]
    lowest = platform_K(balance(bench_a(), [GREASED, *closed]))
    others: list[list[thermal.Element]] = [[Lid("lid", "bored"), closed[1]], [closed[0], Hole("hole")]]
    for other in others:
        assert platform_K(balance(bench_a(), [GREASED, *other])) > lowest
    for state in ("out", "not-recorded"):
        budget = balance(bench_a(), [GREASED, closed[0], Window("port", state)])
        assert budget.temperatures["platform"].high is None
        assert f"window-{state}" in [warning.code for warning in budget.warnings]


def test_a_lid_nobody_recorded_is_anything_from_closed_to_off() -> None:
    budget = balance(bench_a(), [GREASED, Lid("lid")])
    band = budget.temperatures["platform"]
    assert (band.best, band.high) == (None, None)
    assert band.low is not None
    assert band.low <= 3.18
    assert "lid-not-recorded" in [warning.code for warning in budget.warnings]


@pytest.mark.parametrize(("mW_K", "low_K", "high_K"), [(1.0, 0.15, 0.25), (5.0, 0.9, 1.2)])
def test_a_touch_of_mount_and_shield_warms_as_the_trade_says(
    mW_K: float, low_K: float, high_K: float
) -> None:
    # 1 / 5 mW/K × 29 K → +0.2 / +1.1 K (computed from memory).
    touch = Touch("touch", "present", conductance_W_K=mW_K * 1e-3)
    assert low_K <= platform_K(balance(bench_a(), [GREASED, touch])) - 3.18 <= high_K


def test_a_touch_is_a_range_until_somebody_looks() -> None:
    unseen = balance(bench_a(), [GREASED, Touch("touch")])
    assert unseen.temperatures["platform"].best is None
    looked = balance(bench_a(), [GREASED, Touch("touch", "checked-absent")])
    assert platform_K(looked) == pytest.approx(3.18)


@pytest.mark.parametrize(("pressure_Pa", "shield_W", "cold_W"), [(1e-1, 4.0, 0.160), (1e-3, 0.04, 1.6e-3)])
def test_helium_carries_what_free_molecules_carry(pressure_Pa: float, shield_W: float, cold_W: float) -> None:
    # 0.15 and 0.05 m², accommodation 0.5 (free-molecule formula; the accommodation from memory).
    heats = balance(bench_a(), [GREASED, Gas("gas", "helium", pressure_Pa)]).heats["gas"]
    assert best(heats["shield"]) + best(heats["platform"]) == pytest.approx(shield_W, rel=0.1)
    assert best(heats["platform"]) == pytest.approx(cold_W, rel=0.15)


def test_a_gas_that_freezes_on_the_platform_carries_nothing_there() -> None:
    heats = balance(bench_a(), [GREASED, Gas("gas", "nitrogen", 1e-3)]).heats["gas"]
    assert heats["platform"] == Band.exact(0.0)
    assert best(heats["shield"]) > 0.0


def test_added_mass_brings_no_heat() -> None:
    budget = balance(bench_a(), [GREASED, thermal.Mass("block", "platform", 0.5, "copper-rrr-100")])
    assert platform_K(budget) == pytest.approx(3.18)
    assert set(budget.heats["block"].values()) == {Band.exact(0.0)}


def test_a_lag_in_unknown_state_is_anything_from_held_to_not() -> None:
    held, unheld = phosphor_bronze_loom(), phosphor_bronze_loom(lagged=False)
    ends = [platform_K(balance(bench_a(), [GREASED, run])) for run in (held, unheld)]
    for state in ("loose", "not-recorded"):
        unsure = replace(held, lags=(replace(SHIELD_LAG, state=state),))
        band = balance(bench_a(), [GREASED, unsure]).temperatures["platform"]
        assert band.best is None
        assert all(band.contains(end) for end in ends)
    none = replace(held, lags=(replace(SHIELD_LAG, state="none"),))
    assert platform_K(balance(bench_a(), [GREASED, none])) == pytest.approx(ends[1], abs=1e-6)


def test_lengths_of_crossings_without_a_lag_add_up() -> None:
    whole = replace(phosphor_bronze_loom(lagged=False), lengths_m={("vessel", "platform"): 0.45})
    parts = phosphor_bronze_loom(lagged=False)
    assert LENGTHS_m == parts.lengths_m
    one, other = (balance(bench_a(), [GREASED, run]).heats["loom"]["platform"] for run in (whole, parts))
    assert best(one) == pytest.approx(best(other), rel=1e-9)


def test_a_short_dry_lag_is_visibly_worse_than_a_long_greased_one() -> None:
    run = coax("stainless-304")
    lags = Lag("shield", 0.002, "none", "good"), Lag("shield", 0.030, "grease", "good")
    short, long = (
        best(balance(bench_a(), [GREASED, replace(run, lags=(lag,))]).heats["rf"]["platform"]) for lag in lags
    )
    assert short > 3.0 * long


def test_a_second_lag_at_the_platform_keeps_the_heat_out_of_the_sample() -> None:
    lengths_m = {("vessel", "shield"): 0.30, ("shield", "platform"): 0.15, ("platform", "sample"): 0.10}
    lags = (SHIELD_LAG, Lag("platform", 0.010, "varnish", "good"))
    one = replace(phosphor_bronze_loom(ends_on="sample"), lengths_m=lengths_m)
    two = replace(one, lags=lags)
    only_shield, both = (balance(bench_a(), [DRY, run]) for run in (one, two))
    sample, platform = both.temperatures["sample"], both.temperatures["platform"]
    assert best(sample) - best(platform) < 0.02
    assert best(only_shield.temperatures["sample"]) - best(only_shield.temperatures["platform"]) > 0.05


def test_a_current_heats_both_ends_of_every_span() -> None:
    # 24 lines × 10 mA × 0.45 m of AWG 36 phosphor bronze make 11 mW, the inner 0.15 m 3.7 mW (computed).
    still = balance(bench_a(), [GREASED, phosphor_bronze_loom()]).heats["loom"]
    run = replace(phosphor_bronze_loom(), current_A=0.010)
    warm = balance(bench_a(), [GREASED, run]).heats["loom"]
    more = {stage: best(warm[stage]) - best(still[stage]) for stage in ("shield", "platform")}
    assert more["platform"] == pytest.approx(3.7e-3 / 2.0, rel=0.25)
    assert more["shield"] == pytest.approx((3.7e-3 + 7.4e-3) / 2.0, rel=0.25)


def test_attenuators_put_their_heat_where_they_sit() -> None:
    # 4 lines × 1 mW into 20 dB at the platform: 99 % there, the rest where the line ends.
    attenuator = thermal.Attenuator("platform", 20.0)
    lengths_m = {("vessel", "shield"): 0.30, ("shield", "platform"): 0.15, ("platform", "sample"): 0.10}
    still = replace(coax("stainless-304", ends_on="sample"), lengths_m=lengths_m, attenuators=(attenuator,))
    quiet, driven = (
        balance(bench_a(), [GREASED, run]).heats["rf"] for run in (still, replace(still, rf_power_W=1e-3))
    )
    assert best(driven["platform"]) - best(quiet["platform"]) == pytest.approx(4 * 0.99e-3, rel=1e-3)
    assert best(driven["sample"]) - best(quiet["sample"]) == pytest.approx(4 * 0.01e-3, rel=1e-2)


def test_a_ground_plane_of_copper_is_a_copper_wire() -> None:
    # 30 µm × 10 mm is 0.3 mm².
    flat = Run("flex", "ribbon", "copper-rrr-100", 1, lengths_m=LENGTHS_m, thickness_m=30e-6)
    flat = replace(flat, backing_width_m=0.010, backing="none", traces=1, width_m=1e-5)
    sheet = replace(flat, ground_plane="same-metal")
    wire = Run("w", "wire", "copper-rrr-100", 1, math.sqrt(0.3e-6 * 4 / math.pi), LENGTHS_m)
    plane, like = (platform_K(balance(bench_a(), [GREASED, run])) for run in (sheet, wire))
    assert plane == pytest.approx(like, abs=0.02)
    held, round_held = (
        platform_K(balance(bench_a(), [GREASED, replace(run, lags=(SHIELD_LAG,))])) for run in (sheet, wire)
    )
    assert held < round_held < like, "what lies flat under a bar is held better than what is round"
    unsaid = balance(bench_a(), [GREASED, replace(flat, lags=(SHIELD_LAG,))])
    assert unsaid.temperatures["platform"].best is None
    assert "ground-plane-not-recorded" in [warning.code for warning in unsaid.warnings]


def test_a_support_conducts_by_its_integral() -> None:
    post = Support("post", "stainless-304", 3, 5e-6, 0.04, "shield", "platform")
    budget = balance(bench_a(), [GREASED, post])
    shield, platform = best(budget.temperatures["shield"]), platform_K(budget)
    expected_W = 3 * 5e-6 / 0.04 * material("stainless-304").conductivity_integral_W_m(platform, shield)
    assert best(budget.heats["post"]["platform"]) == pytest.approx(expected_W, rel=1e-5)
    assert best(budget.heats["post"]["shield"]) == pytest.approx(-expected_W, rel=1e-5)


def test_a_chosen_build_is_as_cold_as_the_trade_expects() -> None:
    # 24 phosphor bronze and 4 stainless coax, all lagged at the shield: +30 mK, 3.21 K (band 3.19 to 3.26).
    budget = balance(bench_a(), [GREASED, phosphor_bronze_loom(), coax("stainless-304")])
    band = budget.temperatures["platform"]
    assert best(band) == pytest.approx(3.21, abs=0.01)
    assert band.low is not None
    assert band.high is not None
    assert 3.17 < band.low < best(band) < band.high < 3.26
    assert budget.margins["platform"].status == "within"


def test_a_sample_that_gets_much_too_warm_is_said_to_be_over_estimated() -> None:
    budget = balance(bench_a(), [GREASED, loom("copper-rrr-100", ends_on="sample")])
    assert best(budget.temperatures["sample"]) - 3.18 > 4.0
    assert "over-estimated" in next(w.text for w in budget.warnings if w.code == "much-too-warm")


@pytest.mark.parametrize("shield_W", [0.0, 20.0])
def test_a_blanket_passes_what_its_published_fit_passes(shield_W: float) -> None:
    # Keller and others, NASA CR-134477, for the flux of an ideal blanket; here at the shield's own warmth.
    blanket = Surface("blanket", area_m2=0.15, blanket_layers=30, layers_per_m=2000.0, seams=2.0)
    budget = balance(bench_a(), [GREASED, blanket, Source("more", "heater", "shield", shield_W)])
    shield_K = budget.temperatures["shield"].best or budget.temperatures["shield"].low
    assert shield_K is not None
    expected_W = 0.15 * 2.0 * thermal.keller_W_m2(shield_K, 300.0, 30, 2000.0)
    assert best(budget.heats["blanket"]["shield"]) == pytest.approx(expected_W, rel=2e-3)


def test_a_band_whose_warm_end_was_never_tested_has_no_warm_end() -> None:
    budget = balance(bench_a(), [GREASED, Source("s", power_W=Band(0.10, 0.12, 0.20))])
    band = budget.temperatures["platform"]
    assert best(band) == pytest.approx(3.18 + 0.12 * 7.5)
    assert band.high is None
    assert "band-beyond-heater-test" in [warning.code for warning in budget.warnings]


def test_what_depends_on_temperature_is_found_at_the_answer() -> None:
    walls = Surface("walls", area_m2=0.05, cold_finish="handled-metal", hot_finish="glass")
    budget = balance(bench_a(), [GREASED, walls])
    shield_K = best(budget.temperatures["shield"])
    cold, hot = thermal.emissivity("handled-metal", shield_K), thermal.emissivity("glass", 300.0)
    factor = thermal.grey_exchange_factor(best(cold), best(hot), 0.05, 0.05)
    expected_W = thermal.radiated_W(factor, 0.05, shield_K, 300.0)
    assert best(budget.heats["walls"]["shield"]) == pytest.approx(expected_W, rel=1e-5)


def test_coefficients_that_never_settle_are_never_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    walls = Surface("walls", area_m2=0.05, cold_finish="handled-metal", hot_finish="glass")
    monkeypatch.setattr(thermal_state, "_MOST_ROUNDS", 1)
    monkeypatch.setattr(thermal_state, "_NEARLY", 1e-9)
    with pytest.raises(NotSolved, match="settle together"):
        balance(bench_a(), [GREASED, walls])
