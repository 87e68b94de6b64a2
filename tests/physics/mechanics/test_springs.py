"""Disc springs against the tables of their standard, a textbook, and their own limits."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.mechanics.springs import (
    DiscSpring,
    DiscStack,
    disc_force_band_N,
    disc_spring_force_N,
    stack_force_N,
    stack_of,
)

SMALL = DiscSpring(8e-3, 4.2e-3, 0.4e-3, 0.6e-3)

# DIN 2093, force at three quarters of the way to flat: outer, inner, thickness, free height in mm; N.
TABLE = [
    ("B31.5", 31.5, 16.3, 1.25, 2.15, 1910),
    ("B40", 40, 20.4, 1.5, 2.65, 2620),
    ("B45", 45, 22.4, 1.75, 3.05, 3650),
    ("B50", 50, 25.4, 2, 3.4, 4760),
    ("B56", 56, 28.5, 2, 3.6, 4440),
    ("B63", 63, 31, 2.5, 4.25, 7190),
    ("B71", 71, 36, 2.5, 4.5, 6720),
    ("B80", 80, 41, 3, 5.3, 10500),
    ("B90", 90, 46, 3.5, 6, 14200),
    ("B100", 100, 51, 3.5, 6.3, 13100),
]
# The same table, 1992 edition, from memory; the edition of 2006 changed some by one or two per cent.
SMALL_TABLE = [
    ("A8", 8, 4.2, 0.4, 0.6, 210),
    ("A10", 10, 5.2, 0.5, 0.75, 329),
    ("A12.5", 12.5, 6.2, 0.7, 1.0, 673),
    ("A16", 16, 8.2, 0.9, 1.25, 1000),
    ("B8", 8, 4.2, 0.3, 0.55, 119),
    ("B10", 10, 5.2, 0.4, 0.7, 213),
    ("B12.5", 12.5, 6.2, 0.5, 0.85, 291),
    ("C8", 8, 4.2, 0.2, 0.45, 39),
    ("C12.5", 12.5, 6.2, 0.35, 0.8, 152),
]


def disc(*sizes_mm: float) -> DiscSpring:
    return DiscSpring(*(size * 1e-3 for size in sizes_mm))


@pytest.mark.parametrize(("name", "outer", "inner", "thickness", "height", "force_N"), TABLE)
def test_the_standards_forces_are_met_within_half_a_per_cent(
    name: str, outer: float, inner: float, thickness: float, height: float, force_N: float
) -> None:
    spring = disc(outer, inner, thickness, height)
    assert spring.force_N(0.75 * spring.cone_m) == pytest.approx(force_N, rel=5e-3), name


@pytest.mark.parametrize(("name", "outer", "inner", "thickness", "height", "force_N"), SMALL_TABLE)
def test_the_small_sizes_are_met_within_two_and_a_half_per_cent(
    name: str, outer: float, inner: float, thickness: float, height: float, force_N: float
) -> None:
    spring = disc(outer, inner, thickness, height)
    assert spring.force_N(0.75 * spring.cone_m) == pytest.approx(force_N, rel=0.025), name


@pytest.mark.parametrize(
    ("sizes_mm", "forces_N"),
    [
        ((8, 4.2, 0.4, 0.6), (78.3, 147.1, 209.6, 268.9)),
        ((8, 4.2, 0.3, 0.55), (51.6, 89.4, 117.9, 141.8)),
        ((8, 4.2, 0.2, 0.45), (21.3, 33.3, 39.2, 42.0)),
    ],
)
def test_whole_curves_agree_with_recomputed_ones(
    sizes_mm: tuple[float, ...], forces_N: tuple[float, ...]
) -> None:
    # Recomputed at a quarter, half, three quarters and all of the way to flat.
    spring = disc(*sizes_mm)
    for share, force_N in zip((0.25, 0.5, 0.75, 1.0), forces_N, strict=True):
        assert spring.force_N(share * spring.cone_m) == pytest.approx(force_N, rel=2e-3)


def test_a_textbook_design_carries_its_load_when_flat() -> None:
    # Bhandari, Design of Machine Elements, Ex. 10.26 (as worked in a public solution): 4500 N flat. The book
    # has the simpler coefficient 6/(pi ln r) ((r - 1)/r)^2 for K1, half a per cent below the standard's here.
    t, h = 2.652980e-3, 3.979470e-3
    spring = DiscSpring(154.818478e-3, 88.467702e-3, t, t + h, young_Pa=207e9)
    assert spring.flat_N == pytest.approx(4500.0, rel=6e-3)


def test_a_stack_with_friction_agrees_with_the_recomputed_one() -> None:
    # Two nested, three in series, 0.5 mm each: 15023.9 N; with friction 15814.7 loading, 14308.5 unloading.
    spring = disc(50, 25.4, 3, 4.1)
    assert stack_force_N(spring, 2, 3, 1.5e-3) == pytest.approx(15023.9, rel=1e-5)
    for unloading, force_N in ((False, 15814.7), (True, 14308.5)):
        rubbing_N = stack_force_N(
            spring, 2, 3, 1.5e-3, layer_friction=0.02, edge_friction=0.03, unloading=unloading
        )
        assert rubbing_N == pytest.approx(force_N, rel=1e-5)


sizes = st.tuples(st.floats(4.0, 100.0), st.floats(0.3, 0.7), st.floats(0.02, 0.08), st.floats(0.2, 1.4))


def sized(size: tuple[float, float, float, float]) -> DiscSpring:
    outer_mm, bore, thin, cone = size
    thickness_mm = outer_mm * thin
    return disc(outer_mm, outer_mm * bore, thickness_mm, thickness_mm * (1.0 + cone))


@given(sizes, st.floats(0.0, 1.0))
def test_force_and_deflection_are_each_others_inverse(
    size: tuple[float, float, float, float], share: float
) -> None:
    spring = sized(size)
    deflection_m = share * spring.cone_m
    assert spring.deflection_m(spring.force_N(deflection_m)) == pytest.approx(
        deflection_m, rel=1e-4, abs=1e-5 * spring.cone_m
    )


@given(sizes, st.floats(0.5, 2.0))
def test_force_is_in_proportion_to_the_modulus_and_grows_with_the_square_of_the_size(
    size: tuple[float, float, float, float], factor: float
) -> None:
    spring = sized(size)
    stiff = DiscSpring(
        spring.outer_m, spring.inner_m, spring.thickness_m, spring.free_height_m, young_Pa=factor * 206e9
    )
    assert stiff.flat_N == pytest.approx(factor * spring.flat_N, rel=1e-9)
    large = DiscSpring(
        *(factor * m for m in (spring.outer_m, spring.inner_m, spring.thickness_m, spring.free_height_m))
    )
    assert large.flat_N == pytest.approx(factor**2 * spring.flat_N, rel=1e-9)


@given(sizes, st.integers(1, 5), st.integers(1, 5), st.floats(0.01, 1.0))
def test_nested_discs_add_force_and_discs_in_series_add_travel(
    size: tuple[float, float, float, float], parallel: int, series: int, share: float
) -> None:
    spring = sized(size)
    s = share * spring.cone_m
    assert stack_force_N(spring, parallel, series, series * s) == pytest.approx(
        parallel * spring.force_N(s), rel=1e-9
    )
    stack = DiscStack(spring, (parallel,) * series)
    assert stack.deflection_m(parallel * spring.force_N(s)) == pytest.approx(series * s, rel=1e-3)


def test_arrays_of_deflections_are_answered_in_kind() -> None:
    forces = disc_spring_force_N(8e-3, 4.2e-3, 0.4e-3, 0.6e-3, np.array([0.0, 0.1e-3, 0.2e-3]))
    assert forces == pytest.approx(np.array([0.0, 147.1, 268.9]), rel=1e-3)


@pytest.mark.parametrize("deflection_m", [-1e-6, 0.2001e-3, math.nan, math.inf])
def test_a_disc_is_not_pressed_beyond_flat(deflection_m: float) -> None:
    with pytest.raises(Unphysical, match="deflection_m"):
        SMALL.force_N(deflection_m)


def test_flat_is_flat_however_large_the_force() -> None:
    assert SMALL.deflection_m(10.0 * SMALL.flat_N) == pytest.approx(SMALL.cone_m)


def test_a_tall_disc_snaps_through_and_says_so() -> None:
    tall = disc(20, 10, 0.5, 0.5 + 0.5 * 1.6)
    assert tall.snaps_through
    assert tall.force_N(0.6 * tall.cone_m) > tall.force_N(tall.cone_m)
    with pytest.raises(Unphysical, match="snaps through"):
        tall.deflection_m(1.0)


@pytest.mark.parametrize(
    ("orientation", "upside_down", "groups"),
    [
        ("()", (), (1, 1)),
        ("()()", (), (1, 1, 1, 1)),
        ("(())", (), (2, 2)),
        ("((", (), (2,)),
        ("()()", (2,), (3, 1)),
        ("()", (2,), (2,)),
        ("()()", (1, 2), (1, 2, 1)),
    ],
)
def test_a_stack_is_read_as_it_is_built(
    orientation: str, upside_down: tuple[int, ...], groups: tuple[int, ...]
) -> None:
    assert stack_of(SMALL, orientation, upside_down).groups == groups


def test_a_disc_upside_down_costs_travel() -> None:
    right, wrong = stack_of(SMALL, "()()"), stack_of(SMALL, "()()", upside_down=(2,))
    assert wrong.travel_m == pytest.approx(right.travel_m / 2.0)
    assert wrong.deflection_m(100.0) < right.deflection_m(100.0)


def test_a_delivered_disc_may_be_off_by_its_tolerance() -> None:
    # DIN 2093, thickness below 1.25 mm: 7.5 per cent below to 25 per cent above.
    band = disc_force_band_N(SMALL, 0.15e-3)
    assert band.best is not None
    assert band.low == pytest.approx(0.925 * band.best)
    assert band.high == pytest.approx(1.25 * band.best)
    thick = disc_force_band_N(disc(100, 51, 7, 9.2), 1e-3)
    assert thick.best is not None
    assert thick.high == pytest.approx(1.05 * thick.best)


@pytest.mark.parametrize(
    ("sizes_mm", "name"),
    [
        ((8, 8.0, 0.4, 0.6), "outer_m"),
        ((8, 4.2, 0.4, 0.4), "free_height_m"),
        ((8, 4.2, -0.4, 0.6), "thickness_m"),
        ((8, 4.2, 0.4, math.nan), "free_height_m"),
    ],
)
def test_sizes_no_disc_can_have_are_refused(sizes_mm: tuple[float, ...], name: str) -> None:
    with pytest.raises(Unphysical, match=name):
        disc(*sizes_mm)


def test_stacks_nobody_can_build_are_refused() -> None:
    with pytest.raises(Unphysical, match="orientation"):
        stack_of(SMALL, "(|)")
    with pytest.raises(Unphysical, match="upside_down"):
        stack_of(SMALL, "()", upside_down=(3,))
    with pytest.raises(Unphysical, match="groups"):
        DiscStack(SMALL, ())
    with pytest.raises(Unphysical, match="groups"):
        DiscStack(SMALL, (0,))
    with pytest.raises(Unphysical, match="lock"):
        stack_force_N(SMALL, 2, 1, 1e-4, layer_friction=0.9, edge_friction=0.2)
    with pytest.raises(Unphysical, match="poisson"):
        DiscSpring(8e-3, 4.2e-3, 0.4e-3, 0.6e-3, poisson=0.5)
