"""The check of a cooler's data against Carnot."""

import pytest

from server.physics.errors import Unphysical
from server.physics.thermal import CapacityMap, HeaterPoint, HeaterTest, MapPoint, carnot_share, doubts
from tests.physics.thermal.bench import bench_a


@pytest.mark.parametrize(
    ("lift_W", "cold_K", "input_W", "per_cent"),
    [
        # 12.9 W at 25 K for 4.6 kW: Dietrich and Thummes, arXiv 0910.1522; about 1 W near 4 K for 10 kW:
        # Nature Communications 2024. The others are ordinary coolers from memory. Shares recomputed.
        (1.0, 4.0, 10e3, 0.74),
        (12.9, 25.0, 4.6e3, 3.09),
        (1.5, 4.2, 10.7e3, 0.99),
        (0.1, 4.2, 1.2e3, 0.59),
        (40.0, 45.0, 10.7e3, 2.12),
    ],
)
def test_published_coolers_reach_their_published_share(
    lift_W: float, cold_K: float, input_W: float, per_cent: float
) -> None:
    assert 100.0 * carnot_share(lift_W, cold_K, input_W) == pytest.approx(per_cent, abs=0.015)


@pytest.mark.parametrize(
    ("cold_K", "work"), [(4.2, 70.43), (4.0, 74.0), (3.0, 99.0), (25.0, 11.0), (77.0, 2.896)]
)
def test_a_perfect_cooler_has_a_share_of_one(cold_K: float, work: float) -> None:
    # Carnot's watts per watt from 300 K, recomputed.
    assert carnot_share(1.0, cold_K, work) == pytest.approx(1.0, rel=2e-4)


def map_of(platform_W: float, input_W: float | None) -> CapacityMap:
    loads = [(one, two) for one in (0.0, 20.0) for two in (0.0, platform_W)]
    points = [MapPoint(one, two, 35.0 + one / 4.0, 2.9 + two / platform_W) for one, two in loads]
    return CapacityMap(tuple(points), input_W=input_W)


def test_a_map_with_watts_for_milliwatts_is_doubted() -> None:
    assert doubts(map_of(0.5, 7e3)) == ()
    assert "platform" in doubts(map_of(40.0, 7e3))[0]
    assert doubts(map_of(40.0, None)) == ()


def test_a_heater_test_with_an_unlikely_slope_is_doubted() -> None:
    assert doubts(bench_a().cooler) == ()
    mixed_up = HeaterTest((HeaterPoint("shield", 0.0, 32.0, 3.2), HeaterPoint("shield", 0.01, 33.1, 3.2)))
    assert "shield" in doubts(mixed_up)[0]
    assert doubts(HeaterTest(())) == ()


@pytest.mark.parametrize("cold_K", [-1.0, 0.0, 400.0])
def test_what_no_cooler_can_be_is_refused(cold_K: float) -> None:
    with pytest.raises(Unphysical):
        carnot_share(1.0, cold_K, 1e3)
