"""Clamping force left after cooling: recomputed cases, and what springs do when built rightly or wrongly."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import NoData, UnknownMaterial, Unphysical
from server.physics.mechanics.clamping import clamping_cold, clamping_left_N
from server.physics.mechanics.springs import DiscSpring, DiscStack, stack_of

A8 = DiscSpring(8e-3, 4.2e-3, 0.4e-3, 0.6e-3)
M3_ON_COPPER = (98.1e6, 214.4e6)


def test_a_steel_screw_in_copper_loses_a_fifth() -> None:
    # Recomputed: M3 304 screw, 10 mm copper, contractions 324 and 296 (1e-5), preload 942 N: loss 188 N.
    mismatch_m = 0.010 * (324e-5 - 296e-5)
    assert mismatch_m == pytest.approx(2.80e-6)
    assert 942.0 - clamping_left_N(942.0, mismatch_m, *M3_ON_COPPER) == pytest.approx(188.0, rel=5e-3)


def test_a_steel_screw_in_aluminium_comes_loose() -> None:
    # Recomputed: M4 304 screw, 10 mm aluminium, preload 200 N; the loss would be 1084 N.
    mismatch_m = 0.010 * (415e-5 - 296e-5)
    stiffnesses = (171.2e6, 194.6e6)
    assert clamping_left_N(200.0, mismatch_m, *stiffnesses) == 0.0
    assert 2000.0 - clamping_left_N(2000.0, mismatch_m, *stiffnesses) == pytest.approx(1084.0, rel=5e-3)


def test_springs_keep_what_contraction_would_take() -> None:
    mismatch_m = 0.010 * (415e-5 - 296e-5)
    stack = stack_of(A8, "()()")
    kept_N = clamping_left_N(200.0, mismatch_m, 171.2e6, 194.6e6, stack)
    # By hand: the stack gives 11.9 µm of its travel, 3 µm a disc, at about 1.3 N/µm.
    slope = (A8.force_N(150e-6) - A8.force_N(140e-6)) / 10e-6
    assert kept_N == pytest.approx(200.0 - mismatch_m / 4.0 * slope, rel=0.01)


def test_springs_pressed_flat_are_plain_washers() -> None:
    # 942 N on a disc that is flat at 269 N: no help until the force has fallen below that.
    mismatch_m = 2.80e-6
    stack = stack_of(A8, "()()")
    plain = clamping_left_N(942.0, mismatch_m, *M3_ON_COPPER)
    assert clamping_left_N(942.0, mismatch_m, *M3_ON_COPPER, stack) == pytest.approx(plain, rel=1e-6)
    # A larger mismatch, which alone would loosen the joint, is caught by the springs once they open.
    large_m = 20e-6
    assert clamping_left_N(942.0, large_m, *M3_ON_COPPER) == 0.0
    assert 200.0 < clamping_left_N(942.0, large_m, *M3_ON_COPPER, stack) < A8.flat_N


def test_a_spring_upside_down_keeps_less() -> None:
    mismatch_m = 60e-6
    right = clamping_left_N(200.0, mismatch_m, 171.2e6, 194.6e6, stack_of(A8, "()()"))
    wrong = clamping_left_N(200.0, mismatch_m, 171.2e6, 194.6e6, stack_of(A8, "()()", upside_down=(2,)))
    assert wrong < right < 200.0


def test_a_joint_that_shrinks_less_than_its_screw_gains() -> None:
    assert clamping_left_N(500.0, -2.8e-6, *M3_ON_COPPER) == pytest.approx(500.0 + 188.4, rel=2e-3)


forces_N = st.floats(1.0, 3000.0)
stiffnesses = st.floats(1e6, 1e9)


@given(forces_N, st.floats(-5e-5, 5e-5), stiffnesses, stiffnesses)
def test_without_springs_the_loss_is_the_mismatch_over_the_give(
    preload_N: float, mismatch_m: float, screw: float, joint: float
) -> None:
    expected_N = max(0.0, preload_N - mismatch_m / (1.0 / screw + 1.0 / joint))
    assert clamping_left_N(preload_N, mismatch_m, screw, joint) == pytest.approx(
        expected_N, rel=1e-6, abs=1e-6
    )


@given(forces_N, st.floats(0.0, 1e-4), stiffnesses, stiffnesses, st.integers(1, 6), st.integers(1, 3))
def test_springs_never_make_it_worse_and_more_in_series_keep_more(
    preload_N: float, mismatch_m: float, screw: float, joint: float, series: int, nested: int
) -> None:
    plain = clamping_left_N(preload_N, mismatch_m, screw, joint)
    some = clamping_left_N(preload_N, mismatch_m, screw, joint, DiscStack(A8, (nested,) * series))
    more = clamping_left_N(preload_N, mismatch_m, screw, joint, DiscStack(A8, (nested,) * (series + 1)))
    assert plain - 1e-6 * preload_N <= some <= preload_N * (1.0 + 1e-9)
    assert some - 1e-6 * preload_N <= more


def test_materials_bring_their_own_contraction() -> None:
    # Published contractions (Ekin, appendix A6.4) 324 and 296 (1e-5); the fits here lie within 2 per cent.
    left = clamping_cold(942.0, thread_name="M3", grip_m=0.010, screw="stainless-304", joint="copper-rrr-100")
    assert left.mismatch_m == pytest.approx(2.80e-6, rel=0.35)
    assert left.warm_N == 942.0
    assert not left.loose
    assert not left.flat_when_warm
    brass = clamping_cold(942.0, thread_name="M3", grip_m=0.010, screw="brass", joint="copper-rrr-100")
    assert brass.cold_N > 942.0
    titanium = clamping_cold(
        942.0, thread_name="M3", grip_m=0.010, screw="titanium-6al-4v", joint="copper-rrr-100"
    )
    assert titanium.cold_N < left.cold_N


def test_a_loose_joint_and_flat_springs_are_told() -> None:
    loose = clamping_cold(
        200.0, thread_name="M4", grip_m=0.010, screw="stainless-304", joint="aluminium-6061"
    )
    assert loose.loose
    flat = clamping_cold(
        942.0,
        thread_name="M3",
        grip_m=0.010,
        screw="stainless-304",
        joint="copper-rrr-100",
        stack=stack_of(A8, "()()"),
    )
    assert flat.flat_when_warm


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(Unphysical, match="preload_N"):
        clamping_left_N(-1.0, 0.0, 1e8, 1e8)
    with pytest.raises(Unphysical, match="mismatch_m"):
        clamping_left_N(100.0, math.nan, 1e8, 1e8)
    with pytest.raises(UnknownMaterial):
        clamping_cold(100.0, thread_name="M3", grip_m=0.01, screw="cheese", joint="brass")
    with pytest.raises(NoData):
        clamping_cold(100.0, thread_name="M3", grip_m=0.01, screw="brass", joint="manganin")
