"""Many configurations at once give what each gives alone."""

from dataclasses import replace

import pytest

from server.physics import thermal
from server.physics.errors import Unphysical
from server.physics.thermal import HeaterTest, Joint, Source, Surface, balance, solve, temperatures
from tests.physics.thermal.bench import DRY, GREASED, bench_a, best, coax, loom, phosphor_bronze_loom

WALLS = Surface("walls", area_m2=0.05, cold_finish="handled-metal", hot_finish="glass")


def test_each_is_as_cold_as_alone() -> None:
    builds: list[list[thermal.Element]] = [
        [GREASED],
        [GREASED, phosphor_bronze_loom(), Source("s", power_W=0.02)],
        [DRY, loom("copper-rrr-100", ends_on="sample")],
        [GREASED, coax("stainless-304"), WALLS],
        [GREASED, replace(phosphor_bronze_loom(), current_A=0.005), WALLS],
    ]
    for build, found in zip(builds, temperatures(bench_a(), builds), strict=True):
        alone = balance(bench_a(), build).temperatures
        assert found == pytest.approx({stage: best(band) for stage, band in alone.items()}, rel=3e-4)


def test_what_cannot_be_told_is_left_out() -> None:
    bad = replace(phosphor_bronze_loom(), material="unobtainium")
    outside = loom("lead")
    no_joint, gap, uncovered, broken_joint = temperatures(
        bench_a(),
        [[phosphor_bronze_loom()], [GREASED, bad], [GREASED, outside], [Joint("j", "sample", "mount")]],
    )
    assert set(no_joint) == {"shield", "platform"}
    assert gap == {}
    assert uncovered == {}
    assert "sample" not in broken_joint


def test_no_configuration_is_no_answer() -> None:
    assert temperatures(bench_a(), []) == []
    with pytest.raises(Unphysical):
        temperatures(bench_a(cooler=HeaterTest(())), [[GREASED]])


def test_one_that_has_no_balance_does_not_take_the_others_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solve, "_CEILING_K", 60.0)
    hot = Source("hot", power_W=200.0)
    monkeypatch.setattr(solve, "_MOST_STEPS", 30)
    cold, none = temperatures(bench_a(vessel_K=59.0), [[GREASED], [GREASED, hot]])
    assert set(cold) == {"shield", "platform", "sample"}
    assert none == {}
