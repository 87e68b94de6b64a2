"""Windows against recomputed worked cases, conservation of heat, and published thicknesses."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import UnknownMaterial, Unphysical
from server.physics.thermal.radiation import blackbody_fraction, emissive_power_W_m2
from server.physics.thermal.view import disc_view_factor
from server.physics.thermal.windows import (
    window_heat,
    window_material,
    window_materials,
    window_thickness_m,
)

APERTURE_m2 = math.pi / 4.0 * 0.025**2
materials = st.sampled_from(window_materials())


@pytest.mark.parametrize(
    ("cut_off_um", "passed_W"),
    [
        (2.7, 4e-6),
        (3.5, 1.25e-4),
        (4.0, 4.8e-4),
        (5.5, 5.38e-3),
        (6.0, 8.87e-3),
        (9.0, 0.0463),
        (10.0, 0.0616),
        (12.0, 0.0910),
        (20.0, 0.1663),
    ],
)
def test_an_ideal_cut_off_passes_the_recomputed_share_of_25_mm(cut_off_um: float, passed_W: float) -> None:
    # Recomputed: 300 K black body, 25 mm aperture.
    share = blackbody_fraction(cut_off_um * 1e-6, 300.0)
    assert share * APERTURE_m2 * emissive_power_W_m2(300.0) == pytest.approx(passed_W, rel=0.12)


@pytest.mark.parametrize(
    ("window_K", "emitted_W"), [(30.0, 2.03e-5), (40.0, 6.41e-5), (60.0, 3.25e-4), (77.0, 8.81e-4)]
)
def test_a_cold_window_emits_the_recomputed_heat(window_K: float, emitted_W: float) -> None:
    # Recomputed with emissivity 0.9.
    heat = window_heat("fused-silica", APERTURE_m2, 300.0, window_K)
    assert heat.emitted_W.best == pytest.approx(emitted_W, rel=3e-3)


def test_a_cold_window_takes_the_room_off_the_sample() -> None:
    # Recomputed pair: 300 K onto a 25 mm disc at 50 mm, without and with fused silica at 40 K.
    view = disc_view_factor(0.0125, 0.0125, 0.050)
    bare_W = view * APERTURE_m2 * emissive_power_W_m2(300.0)
    assert bare_W == pytest.approx(12.6e-3, rel=0.01)
    heat = window_heat("fused-silica", APERTURE_m2, 300.0, 40.0)
    assert heat.absorbed_W.best == pytest.approx(0.203, rel=0.01)
    assert heat.passed_W.low is not None
    assert view * heat.passed_W.low == pytest.approx(7.0e-6, rel=0.15)
    assert heat.emitted_W.best is not None
    assert view * heat.emitted_W.best == pytest.approx(3.6e-6, rel=0.02)


def test_silica_in_a_bored_lid_passes_what_the_trade_expects() -> None:
    # Common practice figure: one or two milliwatts through 25 mm, and 0.4 mW from glass at 60 K.
    heat = window_heat("fused-silica", APERTURE_m2, 300.0, 60.0)
    assert heat.passed_W.contains(1.2e-3)
    assert heat.emitted_W.best == pytest.approx(0.4e-3, rel=0.25)


@given(materials, st.floats(10.0, 310.0), st.floats(4.0, 310.0))
def test_a_window_makes_no_heat_of_its_own(material: str, source_K: float, window_K: float) -> None:
    heat = window_heat(material, APERTURE_m2, source_K, window_K)
    incident_W = APERTURE_m2 * emissive_power_W_m2(source_K)
    own_W = APERTURE_m2 * emissive_power_W_m2(window_K)
    assert heat.passed_W.best is not None
    assert heat.absorbed_W.best is not None
    assert heat.passed_W.best + heat.absorbed_W.best <= incident_W * (1.0 + 1e-12)
    assert heat.emitted_W.high is not None
    assert 0.0 <= heat.emitted_W.high <= own_W
    assert heat.absorbed_W.low is not None
    assert heat.absorbed_W.low >= 0.0


@given(materials, st.floats(20.0, 310.0))
def test_at_one_temperature_absorbing_and_emitting_are_alike(material: str, T_K: float) -> None:
    heat = window_heat(material, 1e-3, T_K, T_K)
    assert heat.absorbed_W == heat.emitted_W


@given(materials, st.floats(0.1, 10.0))
def test_heat_is_in_proportion_to_the_area(material: str, factor: float) -> None:
    one, more = (window_heat(material, area, 300.0, 50.0) for area in (1e-4, factor * 1e-4))
    assert one.passed_W.best is not None
    assert more.passed_W.best == pytest.approx(factor * one.passed_W.best)


def test_a_longer_cut_off_passes_more_of_the_room() -> None:
    lows = [window_heat(name, 1e-3, 300.0, 290.0).passed_W.low for name in window_materials()]
    assert lows == sorted(lows, key=lambda low: low or 0.0)


def test_a_cold_crystal_opens_again_in_the_far_infrared_and_glass_does_not() -> None:
    warm, cold = (window_heat("sapphire", 1e-3, 300.0, T) for T in (290.0, 10.0))
    assert warm.passed_W.best is not None
    assert cold.passed_W.best is not None
    assert cold.passed_W.best > 1.1 * warm.passed_W.best
    # Of the radiation of a 30 K shield most lies beyond 100 µm: there a cold sapphire is a window again.
    assert window_heat("sapphire", 1e-3, 30.0, 10.0).passed_W.best == pytest.approx(
        0.87 * (1.0 - 0.273) * 1e-3 * emissive_power_W_m2(30.0), rel=0.01
    )
    glass = window_heat("borosilicate-crown", 1e-3, 30.0, 10.0)
    assert glass.passed_W.high == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("material", "clamped_mm", "supported_mm"),
    [
        ("fused-silica", 1.008, 1.301),
        ("sapphire", 0.331, 0.427),
        ("calcium-fluoride", 1.158, 1.495),
    ],
)
def test_plates_under_one_atmosphere_have_the_recomputed_thickness(
    material: str, clamped_mm: float, supported_mm: float
) -> None:
    # Recomputed from plate theory with a safety factor of 4 and published moduli of rupture, D 25.4 mm.
    rupture_Pa = window_material(material).rupture_Pa
    for clamped, expected_mm in ((True, clamped_mm), (False, supported_mm)):
        thickness_m = window_thickness_m(0.0254, 101325.0, rupture_Pa, clamped=clamped)
        assert thickness_m == pytest.approx(expected_mm * 1e-3, rel=2e-3)
        twice = window_thickness_m(0.0508, 101325.0, rupture_Pa, clamped=clamped)
        assert twice == pytest.approx(2.0 * thickness_m)


def test_a_window_nobody_listed_and_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(UnknownMaterial, match="'amber'"):
        window_heat("amber", 1e-3, 300.0, 40.0)
    with pytest.raises(Unphysical, match="area_m2"):
        window_heat("sapphire", -1e-3, 300.0, 40.0)
    with pytest.raises(Unphysical, match="window_K"):
        window_heat("sapphire", 1e-3, 300.0, math.nan)
    with pytest.raises(Unphysical, match="rupture_Pa"):
        window_thickness_m(0.0254, 101325.0, 0.0, clamped=True)
