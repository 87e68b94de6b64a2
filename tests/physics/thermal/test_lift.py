"""The cooler as the balance asks it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from server.physics.thermal import (
    Bare,
    CapacityMap,
    Cryostat,
    HeaterPoint,
    HeaterTest,
    MapPoint,
    Source,
    balance,
    cooler,
)
from server.physics.thermal.cooler_knobs import cooler_settings
from server.physics.thermal.lift import build_lift
from server.physics.thermal.monotone import Monotone
from tests.physics.thermal.bench import GREASED, STAGES, bench_a, best

TWO = ("vessel", "shield", "platform")


steps = st.floats(0.01, 5.0)


@given(st.lists(st.tuples(steps, steps), min_size=3, max_size=8))
def test_interpolation_is_monotone_and_that_of_fritsch_and_butland(moves: list[tuple[float, float]]) -> None:
    # Against scipy's own.
    x, y = np.cumsum([(0.0, 3.0), *moves], axis=0).T
    at = np.linspace(0.0, x[-1], 200)
    value, slope = Monotone(x, y).at(at)
    assert value == pytest.approx(PchipInterpolator(x, y)(at), rel=1e-9)
    assert slope.min() >= -1e-9
    assert (np.diff(value) >= -1e-9).all()


def test_beyond_its_points_it_goes_on_straight() -> None:
    curve = Monotone(np.array([0.0, 1.0, 2.0]), np.array([3.0, 4.0, 6.0]))
    value, slope = curve.at(np.array([-1.0, 2.0, 3.0, 4.0]))
    assert value[3] - value[2] == pytest.approx(slope[1])
    assert value[0] == pytest.approx(3.0 - curve.at(np.array([0.0]))[1][0])


def test_a_heater_test_passes_through_its_points() -> None:
    points = [HeaterPoint("platform", q, 32.0 + q, T) for q, T in ((0.0, 3.18), (0.03, 3.36), (0.1, 3.9))]
    lift = build_lift(Cryostat(TWO, HeaterTest((*points, HeaterPoint("shield", 0.0, 32.0, 3.18)))))
    settings, _ = cooler_settings(HeaterTest(tuple(points)), lift)
    kelvin, _ = lift.kelvin(np.array([[0.0, 0.0], [0.0, 0.03], [0.0, 0.1]]), settings)
    assert kelvin[:, 1] == pytest.approx([3.18, 3.36, 3.9])
    assert kelvin[:, 0] == pytest.approx([32.0, 32.03, 32.1])


def test_a_stage_nobody_heated_has_an_ordinary_slope_and_a_wide_band() -> None:
    test = bench_a().cooler
    assert isinstance(test, HeaterTest)
    only_platform = HeaterTest(tuple(point for point in test.points if point.heated == "platform"))

    budget = balance(bench_a(cooler=only_platform), [GREASED, Source("s", "heater", "shield", 2.0)])
    band = budget.temperatures["shield"]
    assert best(band) == pytest.approx(32.0 + 2.0 * 1.1)
    assert band.low is not None
    assert band.low < 33.2
    assert "no-heater-test" in [warning.code for warning in budget.warnings]


def test_a_cooler_that_says_nothing_of_a_stage_leaves_it_untold() -> None:
    points = (HeaterPoint("platform", 0.0, None, 3.2), HeaterPoint("platform", 0.1, None, 3.9))
    budget = balance(Cryostat(STAGES, HeaterTest(points), limits_K={"shield": 40.0}), [GREASED])
    assert "shield" not in budget.temperatures
    assert budget.margins["shield"].status == "incomplete"
    known = Cryostat(STAGES, HeaterTest(points), Bare((), {"shield": 35.0}))
    assert best(balance(known, [GREASED]).temperatures["shield"]) == pytest.approx(35.0)


def test_an_aged_heater_test_is_steeper_and_carries_its_bare_load_less_well() -> None:
    source = Source("s", "heater", "platform", 0.05)
    house = Source("house", "heater", "platform", 0.1)
    new = bench_a(bare=Bare((house,)))
    aged = replace(new, cooler=replace(new.cooler, ageing={"platform": 0.8}))
    fresh, old = (best(balance(c, [GREASED, house, source]).temperatures["platform"]) for c in (new, aged))
    assert fresh == pytest.approx(3.18 + 7.5 * 0.05)
    assert old == pytest.approx(3.18 + 7.5 * ((0.05 + 0.1) / 0.8 - 0.1))


@pytest.mark.parametrize(
    ("machine", "words"),
    [
        (HeaterTest(()), "at least one"),
        (HeaterTest((HeaterPoint("platform", 0.1, 32.0, 3.9),)), "zero watts"),
        (HeaterTest((HeaterPoint("platform", 0.0, 32.0, None),)), "that was heated"),
        (
            HeaterTest((HeaterPoint("platform", 0.0, 32.0, 3.9), HeaterPoint("platform", 0.1, 32.0, 3.2))),
            "warmer",
        ),
        (
            HeaterTest((HeaterPoint("platform", 0.0, 32.0, 3.2), HeaterPoint("platform", 0.0, 32.0, 3.3))),
            "twice",
        ),
        (CapacityMap(()), "at least one"),
        (CapacityMap((MapPoint(0.0, 0.0, 30.0, 3.0), MapPoint(1.0, 1.0, 31.0, 4.0))), "once with every"),
        (CapacityMap((MapPoint(0.0, 0.0, 30.0, 3.0), MapPoint(0.0, 1.0, 30.0, 2.0))), "second stage warmer"),
        (CapacityMap((MapPoint(0.0, 0.0, 30.0, 3.0), MapPoint(9.0, 0.0, 29.0, 3.0))), "first stage warmer"),
    ],
)
def test_a_cooler_that_cannot_be_is_named(machine: cooler.Cooler, words: str) -> None:
    assert words in cooler.faults(machine)["points"]


def test_a_good_cooler_has_no_faults() -> None:
    assert cooler.faults(bench_a().cooler) == {}
