"""How stages stand to their limits. Numbers of the reference instrument, worked out by hand."""

import pytest

from server.physics.statistics import Band
from server.physics.thermal import Source, balance
from tests.physics.thermal.bench import GREASED, bench_a, best


def test_spare_heat_within_the_test_is_as_unsure_as_the_slope() -> None:
    # (3.6 − 3.18) K by 7.5 mK/mW are 56 mW; the slope is good to 5 %, a cooldown to 20 mK (2.7 mW).
    spare_W = balance(bench_a(), [GREASED]).margins["platform"].spare_W
    assert spare_W is not None
    assert best(spare_W) == pytest.approx(0.056, rel=1e-3)
    assert spare_W.high is not None
    assert spare_W.high - 0.056 == pytest.approx(0.0039, rel=0.02)


def test_spare_heat_ends_where_the_heater_test_ended() -> None:
    """The test of the shield ended at 4 W; its limit lies 20 K away."""
    shield_5W = bench_a(limits_K={"shield": 52.0, "platform": 9.0, "sample": 9.0})
    margins = balance(shield_5W, [GREASED, Source("s", "other", "shield", 1.0)]).margins
    spare_W = margins["shield"].spare_W
    assert spare_W is not None
    assert (spare_W.best, spare_W.high) == (None, None)
    assert spare_W.low == pytest.approx(3.0, abs=1e-6)
    spare_W = margins["platform"].spare_W
    assert spare_W is not None
    assert (spare_W.best, spare_W.high) == (None, None)
    assert spare_W.low == pytest.approx(0.150, abs=1e-6)


def test_a_stage_that_may_be_beyond_the_test_already_has_no_lower_end_of_spare_heat() -> None:
    spare_W = (
        balance(bench_a(), [GREASED, Source("s", power_W=Band(0.001, 0.05, 0.4))]).margins["platform"].spare_W
    )
    assert spare_W is not None
    assert spare_W.low is None
    assert best(spare_W) == pytest.approx(0.006, abs=1e-4)
