"""Measured minus predicted, and the load that would explain it."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.cooldowns.residual_rules import Facts, Residual, implied, judged
from server.physics import thermal
from server.physics.statistics import Band
from server.physics.thermal import Cryostat, HeaterPoint, HeaterTest

STAGES = ("vessel", "shield", "platform")
PREDICTED = {"shield": Band(31.7, 32.0, 32.3), "platform": Band(3.15, 3.18, 3.21)}
BASE = Facts(7, 7, "off", "yes")


def facts(**more: Any) -> Facts:
    return Facts(**{"began_with": 7, "stood_at_base": 7, "heater": "off", "settled": "yes", **more})


def platform(
    measured_K: float | None, known: Facts = BASE, predicted: Band | None = PREDICTED["platform"]
) -> Residual:
    measured = {} if measured_K is None else {"platform": measured_K}
    return judged(STAGES, measured, {"platform": predicted} if predicted else {}, known)[1]


@pytest.mark.parametrize(
    ("measured_K", "verdict"), [(3.18, "inside"), (3.21, "inside"), (3.22, "outside"), (3.1, "outside")]
)
def test_a_stage_lies_inside_or_outside_the_band(measured_K: float, verdict: str) -> None:
    assert platform(measured_K).verdict == verdict


def test_the_difference_has_the_band_of_the_prediction() -> None:
    found = platform(3.30).difference_K
    assert found is not None
    assert (found.low, found.best, found.high) == pytest.approx((0.09, 0.12, 0.15))


@pytest.mark.parametrize(
    ("known", "reason"),
    [
        (facts(settled="no"), "not at base"),
        (facts(settled="not-recorded"), "not at base"),
        (facts(heater="on"), "heater was on"),
        (facts(heater="not-recorded"), "whether the heater was off"),
        (facts(stood_at_base=8), "another revision stood inside: predicted for 7, measured with 8"),
        (facts(unrecorded=("Shield lid",)), "not recorded whether in or out: Shield lid"),
    ],
)
def test_what_cannot_be_compared_says_why(known: Facts, reason: str) -> None:
    found = platform(9.0, known)
    assert found.verdict == "not comparable"
    assert reason in found.reason


def test_a_silent_thermometer_is_told_from_one_that_is_not_there() -> None:
    assert "silent" in platform(None, facts(silent=("platform",))).reason
    assert platform(None).reason == "no reading of the platform"


def test_without_a_base_or_a_prediction_nothing_is_compared() -> None:
    assert judged(STAGES, None, PREDICTED, BASE)[0].reason == "no base was written down yet"
    assert platform(3.2, predicted=None).reason == "nothing could be predicted"


def test_more_than_holds_everything_above_and_nothing_below() -> None:
    assert platform(9.0, predicted=Band.more_than(5.2)).verdict == "inside"
    assert platform(5.0, predicted=Band.more_than(5.2)).verdict == "outside"


def a_cooler() -> Cryostat:
    """7.5 mK a milliwatt at the platform, 1.1 K a watt at the shield, each apart (the invented Bench A)."""
    points = [HeaterPoint("platform", added_W, 32.0, 3.18 + 7.5 * added_W) for added_W in (0.0, 0.05, 0.15)]
    points += [HeaterPoint("shield", added_W, 32.0 + 1.1 * added_W, 3.18) for added_W in (0.0, 1.0, 6.0)]
    return Cryostat(STAGES, HeaterTest(tuple(points)))


def test_the_implied_load_is_the_excess_over_the_slope() -> None:
    """0.30 K above the prediction at 7.5 K/W is 40 mW; the ends of the band give 36 and 44 mW."""
    found = implied(a_cooler(), [], judged(STAGES, {"platform": 3.48}, PREDICTED, BASE))
    assert [load.stage for load in found] == ["platform"]
    band = found[0].heat_W
    assert (band.low, band.best, band.high) == pytest.approx((0.036, 0.040, 0.044), rel=0.01)
    assert not found[0].beyond


def test_a_load_larger_than_the_cooler_was_ever_measured_with_says_so() -> None:
    found = implied(a_cooler(), [], judged(STAGES, {"platform": 4.9}, PREDICTED, BASE))
    assert found[0].beyond


def test_two_stages_outside_get_a_load_each() -> None:
    """1.5 K above at 1.1 K/W is 1.36 W at the shield, 0.15 K at 7.5 K/W is 20 mW at the platform."""
    measured = {"shield": 33.5, "platform": 3.33}
    found = {
        row.stage: row.heat_W.middle
        for row in implied(a_cooler(), [], judged(STAGES, measured, PREDICTED, BASE))
    }
    assert found == {"shield": pytest.approx(1.364, rel=0.01), "platform": pytest.approx(0.020, rel=0.02)}


def test_what_the_platform_explains_is_not_laid_on_the_sample_again() -> None:
    """A sample that follows the platform through its joint is warm because the platform is."""
    stages = ("vessel", "shield", "platform", "sample")
    cooler = a_cooler().cooler
    joint = thermal.Joint("joint", hot_stage="sample", cold_stage="platform", resistance_K_W=10.0)
    predicted = {**PREDICTED, "sample": Band(3.15, 3.18, 3.21)}
    rows = judged(stages, {"platform": 3.48, "sample": 3.48}, predicted, BASE)
    assert [row.verdict for row in rows] == ["not comparable", "outside", "outside"]
    found = implied(Cryostat(stages, cooler), [joint], rows)
    assert [load.stage for load in found] == ["platform"]


def test_colder_than_predicted_is_explained_by_no_load() -> None:
    assert implied(a_cooler(), [], judged(STAGES, {"platform": 2.9}, PREDICTED, BASE)) == ()


@settings(max_examples=15)
@given(st.floats(0.005, 0.14))
def test_a_load_put_in_is_found_again(heat_W: float) -> None:
    """The balance with the load gives a temperature; the load implied by it is the one put in."""
    source = thermal.Source("s", "heater", "platform", power_W=heat_W)
    warm, plain = thermal.temperatures(a_cooler(), [[source], []])
    predicted = {"platform": Band(plain["platform"] - 0.02, plain["platform"], plain["platform"] + 0.02)}
    rows = judged(STAGES, {"platform": warm["platform"]}, predicted, BASE)
    found = implied(a_cooler(), [], rows)
    assert found[0].heat_W.middle == pytest.approx(heat_W, rel=0.02)
