"""Thread sizes and areas against the tables of their standards."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import UnknownMaterial, Unphysical
from server.physics.mechanics.threads import stress_area_m2, strip_load_N, thread, threads


@pytest.mark.parametrize(
    ("name", "area_mm2"),
    [
        ("M2", 2.07),
        ("M2.5", 3.39),
        ("M3", 5.03),
        ("M4", 8.78),
        ("M5", 14.2),
        ("M6", 20.1),
        ("#2-56", 2.38),
        ("#4-40", 3.89),
        ("#6-32", 5.86),
        ("#8-32", 9.04),
    ],
)
def test_stress_areas_are_those_of_the_standards(name: str, area_mm2: float) -> None:
    # ISO 898-1 (metric) and ASME B1.1 (unified), nominal stress areas.
    assert thread(name).stress_area_m2 == pytest.approx(area_mm2 * 1e-6, rel=3e-3)


def test_a_unified_thread_in_square_inches_is_the_printed_one() -> None:
    # ASME B1.1: 1/4-20 has 0.0318 in², 3/8-16 has 0.0775 in².
    assert thread("1/4-20").stress_area_m2 / 0.0254**2 == pytest.approx(0.0318, rel=2e-3)
    assert thread("3/8-16").stress_area_m2 / 0.0254**2 == pytest.approx(0.0775, rel=2e-3)


@pytest.mark.parametrize(
    ("engaged_mm", "shear_MPa", "strips_kN"), [(4.5, 165.0, 6.1), (4.5, 110.0, 4.1), (3.0, 110.0, 2.7)]
)
def test_an_m3_thread_strips_at_the_recomputed_load(
    engaged_mm: float, shear_MPa: float, strips_kN: float
) -> None:
    # FED-STD-H28, recomputed; shear strengths of 6061-T6 and soft copper from memory.
    load_N = strip_load_N(3e-3, 0.5e-3, engaged_mm * 1e-3, shear_MPa * 1e6)
    assert load_N == pytest.approx(strips_kN * 1e3, rel=0.015)


@given(st.floats(1e-3, 0.03), st.floats(0.05, 0.3), st.floats(1.0, 3.0))
def test_the_stress_area_lies_inside_the_thread_and_the_load_grows_with_length(
    diameter_m: float, fineness: float, factor: float
) -> None:
    pitch_m = fineness * diameter_m
    assert 0.0 < stress_area_m2(diameter_m, pitch_m) < math.pi / 4.0 * diameter_m**2
    short, long = (strip_load_N(diameter_m, pitch_m, engaged, 1e8) for engaged in (1e-3, factor * 1e-3))
    assert long == pytest.approx(factor * short)


def test_every_thread_has_a_pitch_well_below_its_diameter() -> None:
    for name in threads():
        size = thread(name)
        assert 0.1 < size.pitch_m / size.diameter_m < 0.3


def test_threads_that_cannot_be_are_refused() -> None:
    with pytest.raises(UnknownMaterial, match="'M7'"):
        thread("M7")
    with pytest.raises(Unphysical, match="pitch_m"):
        stress_area_m2(1e-3, 1e-3)
    with pytest.raises(Unphysical, match="engaged_m"):
        strip_load_N(3e-3, 0.5e-3, 0.0, 1e8)
