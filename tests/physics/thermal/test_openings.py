"""Openings against the figures of the trade: bounded where bounded, else more than."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.thermal.openings import hole_W, lid_off_W, pipe_W


@pytest.mark.parametrize(("diameter_mm", "most_W"), [(10, 0.036), (25, 0.225), (50, 0.90), (100, 3.6)])
def test_a_clear_hole_lets_in_at_most_what_falls_on_it(diameter_mm: float, most_W: float) -> None:
    # Recomputed: 300 K black body over the area of the hole.
    band = hole_W(math.pi / 4.0 * (diameter_mm * 1e-3) ** 2, 300.0, 4.0)
    assert band.high == pytest.approx(most_W, rel=0.01)
    assert band.best is None


def test_a_bored_lid_brings_what_the_trade_expects() -> None:
    # Common practice figure: 25 mm bore without glass, 45 to 225 mW.
    band = hole_W(math.pi / 4.0 * 0.025**2, 300.0, 4.0)
    assert band.low == pytest.approx(0.045, rel=0.01)
    assert band.high == pytest.approx(0.225, rel=0.01)


def test_a_lid_that_is_off_is_more_than_a_number() -> None:
    # Common practice figure: a 90 mm opening lets in 2.9 W, of which bright cold metal keeps 0.3 W and more.
    band = lid_off_W(math.pi / 4.0 * 0.090**2, 300.0, 4.0)
    assert band.low == pytest.approx(0.29, rel=0.01)
    assert band.best is None
    assert band.high is None


@given(st.floats(1e-3, 0.1), st.floats(1.0, 100.0), st.floats(10.0, 310.0))
def test_a_pipe_brings_no_more_than_a_hole_and_its_doubt_grows_with_its_depth(
    diameter_m: float, depth: float, hot_K: float
) -> None:
    hole = hole_W(math.pi / 4.0 * diameter_m**2, hot_K, 0.0)
    pipe = pipe_W(diameter_m, depth * diameter_m, hot_K)
    deeper = pipe_W(diameter_m, 2.0 * depth * diameter_m, hot_K)
    assert pipe.high == pytest.approx(hole.high)
    assert pipe.low is not None
    assert hole.low is not None
    assert deeper.low is not None
    assert deeper.low < pipe.low < hole.low


def test_a_bright_pipe_may_carry_a_thousand_times_its_straight_line_figure() -> None:
    # As quoted from a published cryostat test: about a thousand times.
    pipe = pipe_W(0.05, 1.0, 300.0)
    assert pipe.low is not None
    assert pipe.high is not None
    assert pipe.high > 1000.0 * pipe.low


def test_no_difference_brings_no_heat() -> None:
    assert hole_W(1e-3, 77.0, 77.0).high == 0.0
    assert lid_off_W(1e-3, 77.0, 77.0).low == 0.0


@pytest.mark.parametrize("bad", [-1.0, 0.0, math.nan])
def test_areas_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match="area_m2"):
        hole_W(bad, 300.0, 4.0)
    with pytest.raises(Unphysical, match="opening_m2"):
        lid_off_W(bad, 300.0, 4.0)
    with pytest.raises(Unphysical, match="diameter_m"):
        pipe_W(bad, 0.1, 300.0)
