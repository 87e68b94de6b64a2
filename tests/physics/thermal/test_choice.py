"""Choosing a wire: what will do comes first, what will not says why."""

from dataclasses import replace

import pytest

from server.physics.errors import UnknownMaterial, Unphysical
from server.physics.thermal import Lag, Wanted, balance, choose_wire
from tests.physics.thermal.bench import GREASED, LENGTHS_m, bench_a, best, phosphor_bronze_loom

WANTED = Wanted(24, current_A=1e-3, most_ohm=20.0, lengths_m=LENGTHS_m)


def test_alloys_will_do_and_copper_will_not() -> None:
    # Common practice, no source.
    ranked = choose_wire(bench_a(), [GREASED], WANTED)
    good = [candidate for candidate in ranked if not candidate.fails]
    assert good
    assert not any(candidate.material.startswith("copper-") and candidate.gauge < 34 for candidate in good)
    assert good[0].rise_K["platform"] < 0.005
    assert [bool(candidate.fails) for candidate in ranked] == sorted(bool(c.fails) for c in ranked)
    rises = [candidate.rise_K["sample"] for candidate in good]
    assert rises == sorted(rises)


def test_every_metal_and_gauge_is_shown_and_each_failure_has_a_reason() -> None:
    metals, gauges = ("phosphor-bronze", "stainless-304", "copper-rrr-100"), (28, 36, 44)
    ranked = choose_wire(bench_a(), [GREASED], replace(WANTED, most_ohm=5.0), metals, gauges)
    assert {(c.material, c.gauge) for c in ranked} == {(m, g) for m in metals for g in gauges}
    by_name = {(c.material, c.gauge): c for c in ranked}
    assert "more than 5 Ω" in by_name["stainless-304", 36].fails[0]
    assert "over its limit" in " ".join(by_name["copper-rrr-100", 28].fails)


def test_a_lag_does_not_rescue_copper_and_the_list_says_so() -> None:
    copper = choose_wire(bench_a(), [GREASED], WANTED, ["copper-rrr-100"], [36])[0]
    assert copper.fails
    assert "hardly helps" in copper.remarks[0]
    bronze = choose_wire(bench_a(), [GREASED], WANTED, ["phosphor-bronze"], [36])[0]
    assert bronze.remarks == ()


def test_a_rise_is_what_the_balance_says() -> None:
    found = choose_wire(bench_a(), [GREASED], replace(WANTED, current_A=0.0), ["phosphor-bronze"], [36])[0]
    before = balance(bench_a(), [GREASED]).temperatures["platform"]
    after = balance(bench_a(), [GREASED, phosphor_bronze_loom()]).temperatures["platform"]
    assert found.rise_K["platform"] == pytest.approx(best(after) - best(before), rel=1e-6)


def test_resistance_and_self_heating_of_thin_bronze() -> None:
    # About 10 Ω/m at AWG 36 (common practice); 24 × (1 mA)² × 0.45 m.
    found = choose_wire(bench_a(), [GREASED], WANTED, ["phosphor-bronze"], [36])[0]
    assert found.warm_resistance_ohm == pytest.approx(4.5, rel=0.1)
    assert found.resistance_ohm is not None
    assert found.resistance_ohm < found.warm_resistance_ohm  # type: ignore[operator]
    assert found.self_heating_W == pytest.approx(24 * 1e-6 * found.resistance_ohm)


def test_a_current_that_no_wire_bears_is_a_reason() -> None:
    found = choose_wire(bench_a(), [GREASED], replace(WANTED, current_A=5.0), ["manganin"], [44])[0]
    assert "overheats" in found.fails[0]


def test_a_lag_that_nobody_can_reach_is_a_reason() -> None:
    wanted = replace(WANTED, lags=(Lag("mount", 0.01, "varnish", "good"),))
    assert "mount" in choose_wire(bench_a(), [GREASED], wanted, ["manganin"], [36])[0].fails[0]


@pytest.mark.parametrize("change", [{"lines": 0}, {"current_A": -1.0}, {"most_ohm": 0.0}])
def test_what_cannot_be_wanted_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(Unphysical):
        choose_wire(bench_a(), [GREASED], replace(WANTED, **change))  # type: ignore[arg-type]


def test_a_metal_nobody_knows_is_refused() -> None:
    with pytest.raises(UnknownMaterial):
        choose_wire(bench_a(), [GREASED], WANTED, ["unobtainium"])
