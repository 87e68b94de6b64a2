"""What a change does to each stage. Numbers of the reference instrument, worked out by hand."""

from dataclasses import replace

import pytest

from server.physics.errors import Unphysical
from server.physics.statistics import Band
from server.physics.thermal import (
    Element,
    HeaterTest,
    Joint,
    Lag,
    Lid,
    Source,
    Support,
    Touch,
    balance,
    difference,
)
from tests.physics.thermal.bench import GREASED, bench_a, best, phosphor_bronze_loom

HEATER = Source("heater", "heater", "sample", 0.001)


def half_K(band: Band) -> float:
    assert band.half_width is not None
    return band.half_width


def test_more_of_a_known_heat_moves_by_the_slope_of_the_test() -> None:
    # 20 mW more at 7.5 mK/mW, good to 5 %.
    moved = difference(bench_a(), [GREASED], [GREASED, Source("s", power_W=0.020)])
    assert list(moved) == ["shield", "platform", "sample"]
    assert best(moved["platform"]) == pytest.approx(0.150, abs=1e-9)
    assert half_K(moved["platform"]) == pytest.approx(0.0075, rel=1e-3)
    assert half_K(moved["shield"]) == pytest.approx(0.0, abs=1e-9)


def test_the_other_way_round_is_the_same_with_the_other_sign() -> None:
    build: list[Element] = [GREASED, phosphor_bronze_loom()]
    there, back = difference(bench_a(), [GREASED], build), difference(bench_a(), build, [GREASED])
    for stage in ("shield", "platform", "sample"):
        assert best(back[stage]) == pytest.approx(-best(there[stage]), abs=1e-9)
        assert back[stage].low == pytest.approx(-(there[stage].high or 0.0), abs=1e-9)


def test_a_joint_made_anew_moves_what_it_holds_and_nothing_else() -> None:
    build: list[Element] = [phosphor_bronze_loom(), Touch("t", "not-checked", "shield", "platform"), HEATER]
    made = Joint("mount", filler="greased")
    moved = difference(bench_a(), [*build, made], [*build, replace(made, filler="dry")])
    assert half_K(moved["shield"]) < 1e-6
    assert half_K(moved["platform"]) < 1e-6
    assert moved["sample"].middle > 0.1
    assert half_K(moved["sample"]) > 0.05


def test_what_is_unsure_in_both_alike_cancels() -> None:
    unsure = replace(phosphor_bronze_loom(), diameter_m=None)
    moved = difference(bench_a(), [GREASED, unsure], [GREASED, unsure, Source("s", power_W=0.020)])
    assert half_K(moved["platform"]) < 0.009
    alone = difference(bench_a(), [GREASED], [GREASED, unsure])
    assert half_K(alone["platform"]) > 0.002


def test_one_wire_more_of_an_unknown_diameter_is_not_as_unsure_as_all_of_them() -> None:
    unsure = replace(phosphor_bronze_loom(), diameter_m=None)
    moved = difference(bench_a(), [GREASED, unsure], [GREASED, replace(unsure, count=25)])
    alone = difference(bench_a(), [GREASED], [GREASED, replace(unsure, count=25)])
    assert half_K(moved["platform"]) == pytest.approx(half_K(alone["platform"]) / 25.0, rel=0.1)


def test_a_stage_that_is_more_than_only_afterwards_moves_by_more_than() -> None:
    closed, off = Lid("lid", "on"), Lid("lid", "off")
    moved = difference(bench_a(), [GREASED, closed], [GREASED, off])["platform"]
    assert moved.high is None
    assert moved.low is not None
    back = difference(bench_a(), [GREASED, off], [GREASED, closed])["platform"]
    assert back.low is None
    small = difference(bench_a(), [GREASED, off], [GREASED, off, Source("s", power_W=0.001)])
    assert "platform" not in small
    beyond = difference(bench_a(), [GREASED], [GREASED, Source("s", power_W=0.200)])["platform"]
    assert (beyond.best, beyond.high) == (None, None)
    assert beyond.low == pytest.approx(1.5 * 0.95, abs=0.001)


def test_nothing_altered_moves_nothing() -> None:
    build: list[Element] = [GREASED, phosphor_bronze_loom(), Touch("t", "not-checked", "shield", "platform")]
    assert all(moved == Band.exact(0.0) for moved in difference(bench_a(), build, build).values())


STRAPS = [
    Support(f"strap {n}", "copper-rrr-100", 1, Band(1e-8, 3e-8, 1e-7), 0.15, "shield", "platform")
    for n in (1, 2, 3)
]


def test_what_is_drawn_for_the_temperatures_is_drawn_for_their_difference() -> None:
    """Much that is unsure, each only a range: added up in quadrature the low end would lie below nothing."""
    lag = Lag("shield", None, "unknown", "not-recorded")
    vague = replace(phosphor_bronze_loom(), material=None, diameter_m=None, count=4, lags=(lag,))
    heater = Source("s", "heater", "platform", Band(0.0, None, 0.03))
    moved = difference(bench_a(), [GREASED], [GREASED, vague, heater])["platform"]
    after = balance(bench_a(), [GREASED, vague, heater]).temperatures["platform"]
    assert after.low is not None
    assert moved.low is not None
    assert moved.low > 0.0
    assert moved.low == pytest.approx(after.low - 3.18, abs=0.01)


def test_what_is_drawn_cancels_where_it_is_in_both() -> None:
    build: list[Element] = [GREASED, *STRAPS]
    still = difference(bench_a(), build, build)["platform"]
    assert (still.low, still.high) == (0.0, 0.0)
    little = difference(bench_a(), build, [*build, Source("s", power_W=0.001)])["platform"]
    assert half_K(little) < 0.002


def test_a_cooler_of_which_nothing_can_be_made_is_refused() -> None:
    with pytest.raises(Unphysical):
        difference(bench_a(cooler=HeaterTest(())), [], [])
