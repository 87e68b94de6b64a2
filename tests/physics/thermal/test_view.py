"""View factors against recomputed values, reciprocity and limits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.thermal.view import disc_view_factor

lengths_m = st.floats(1e-4, 1.0)


@pytest.mark.parametrize(
    ("r1_mm", "r2_mm", "distance_mm", "factor"), [(12.5, 25.0, 30.0, 0.38556), (12.5, 12.5, 50.0, 0.05573)]
)
def test_coaxial_discs_agree_with_recomputed_values(
    r1_mm: float, r2_mm: float, distance_mm: float, factor: float
) -> None:
    # Siegel and Howell's formula for coaxial parallel discs, recomputed.
    answer = disc_view_factor(r1_mm * 1e-3, r2_mm * 1e-3, distance_mm * 1e-3)
    assert answer == pytest.approx(factor, abs=1e-5)


def test_discs_agree_with_a_summed_double_integral() -> None:
    from scipy.integrate import dblquad

    r1, r2, h = 0.01, 0.02, 0.03

    def from_a_point(r: float) -> float:
        def kernel(phi: float, s: float) -> float:
            return float(h**2 * s / (math.pi * (r**2 + s**2 + h**2 - 2 * r * s * math.cos(phi)) ** 2))

        return float(dblquad(kernel, 0.0, r2, 0.0, 2.0 * math.pi, epsrel=1e-8)[0])

    from numpy.polynomial.legendre import leggauss

    points, weights = leggauss(8)
    r = r1 * (points + 1.0) / 2.0
    mean = sum(w * ri * from_a_point(float(ri)) for w, ri in zip(weights, r, strict=True)) * r1 / 2.0
    assert disc_view_factor(r1, r2, h) == pytest.approx(2.0 * mean / r1**2, rel=1e-6)


@given(lengths_m, lengths_m, lengths_m)
def test_view_factors_are_reciprocal(r1_m: float, r2_m: float, distance_m: float) -> None:
    there = r1_m**2 * disc_view_factor(r1_m, r2_m, distance_m)
    back = r2_m**2 * disc_view_factor(r2_m, r1_m, distance_m)
    assert there == pytest.approx(back, rel=1e-9)


@given(lengths_m, lengths_m, lengths_m, st.floats(0.01, 100.0))
def test_only_the_shape_counts_and_nearer_sees_more(
    r1_m: float, r2_m: float, h_m: float, scale: float
) -> None:
    factor = disc_view_factor(r1_m, r2_m, h_m)
    assert 0.0 < factor <= 1.0
    assert disc_view_factor(r1_m * scale, r2_m * scale, h_m * scale) == pytest.approx(factor, rel=1e-9)
    assert disc_view_factor(r1_m, r2_m, h_m * 1.1) < factor * (1.0 + 1e-12)


def test_a_small_far_disc_is_seen_at_its_solid_angle() -> None:
    assert disc_view_factor(1e-6, 1e-6, 1.0) == pytest.approx(1e-12, rel=1e-9)


def test_a_disc_against_another_sees_it_all() -> None:
    assert disc_view_factor(0.01, 0.01, 1e-7) == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_lengths_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match="distance_m"):
        disc_view_factor(0.01, 0.01, bad)
