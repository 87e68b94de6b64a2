"""Radiation against published tables, another library's integrals, and its own limits."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.thermal.radiation import (
    SECOND_RADIATION_m_K,
    STEFAN_BOLTZMANN_W_m2_K4,
    blackbody_fraction,
    emissive_power_W_m2,
    grey_exchange_factor,
    radiated_W,
    shield_exchange_factor,
)

temperatures_K = st.floats(1.0, 400.0)
emissivities = st.floats(0.005, 1.0)
areas_m2 = st.floats(1e-6, 10.0)


@pytest.mark.parametrize(
    ("temperature_K", "flux_W_m2"),
    [
        (300.0, 459.30),
        (293.15, 418.77),
        (77.0, 1.9933),
        (50.0, 0.3544),
        (40.0, 0.14516),
        (30.0, 0.04593),
        (4.0, 1.4516e-5),
    ],
)
def test_black_bodies_radiate_as_the_law_says(temperature_K: float, flux_W_m2: float) -> None:
    # Recomputed from sigma T^4 with the constant of CODATA 2018.
    assert emissive_power_W_m2(temperature_K) == pytest.approx(flux_W_m2, rel=2e-4)


def test_the_constants_are_those_of_the_2019_si() -> None:
    from scipy import constants

    assert pytest.approx(constants.Stefan_Boltzmann, rel=1e-9) == STEFAN_BOLTZMANN_W_m2_K4
    assert pytest.approx(constants.physical_constants["second radiation constant"][0]) == SECOND_RADIATION_m_K


@pytest.mark.parametrize(
    ("reach_um_K", "fraction"),
    [
        (1000, 0.000321),
        (1500, 0.012850),
        (2000, 0.066730),
        (2898, 0.250106),
        (3000, 0.273229),
        (4000, 0.480865),
        (5000, 0.633726),
        (10000, 0.914157),
    ],
)
def test_band_fractions_agree_with_the_tables(reach_um_K: float, fraction: float) -> None:
    # Siegel and Howell's table of band fractions; recomputed to six digits.
    assert blackbody_fraction(reach_um_K * 1e-6 / 300.0, 300.0) == pytest.approx(fraction, abs=1e-6)


@pytest.mark.parametrize(
    ("wavelength_um", "temperature_K", "fraction"),
    [
        (3.5, 300, 5.56e-4),
        (5.5, 300, 0.0239),
        (6.0, 300, 0.0393),
        (9.0, 300, 0.2054),
        (10.0, 300, 0.2732),
        (20.0, 300, 0.7378),
        (50.0, 30, 0.0129),
        (100.0, 30, 0.273),
        (200.0, 30, 0.738),
    ],
)
def test_windows_see_the_recomputed_share_of_the_spectrum(
    wavelength_um: float, temperature_K: float, fraction: float
) -> None:
    assert blackbody_fraction(wavelength_um * 1e-6, temperature_K) == pytest.approx(fraction, rel=5e-3)


def test_the_band_fraction_is_the_integral_of_plancks_law_to_1e_8() -> None:
    from scipy.integrate import quad

    for x in (0.01, 0.5, 1.9999, 2.0, 2.0001, 5.0, 40.0):
        exact = 15.0 / math.pi**4 * quad(lambda t: t**3 / math.expm1(t), x, 700.0, epsabs=1e-13)[0]
        got = blackbody_fraction(SECOND_RADIATION_m_K / (x * 100.0), 100.0)
        assert got == pytest.approx(exact, abs=1e-8)


def test_the_band_fraction_answers_in_kind_and_at_the_ends() -> None:
    answer = blackbody_fraction(np.array([0.0, 5e-6, np.inf]), np.array([[300.0], [30.0]]))
    assert isinstance(answer, np.ndarray)
    assert answer.shape == (2, 3)
    assert answer[:, 0].tolist() == [0.0, 0.0]
    assert answer[:, 2] == pytest.approx([1.0, 1.0])
    assert isinstance(blackbody_fraction(5e-6, 300.0), float)


@given(st.lists(st.floats(1e-7, 1e-2), min_size=2, max_size=6), temperatures_K)
def test_more_of_the_spectrum_is_never_less_heat(wavelengths_m: list[float], temperature_K: float) -> None:
    fractions = np.asarray(blackbody_fraction(np.sort(np.array(wavelengths_m)), temperature_K))
    assert (np.diff(fractions) >= -1e-12).all()
    assert ((fractions >= 0.0) & (fractions <= 1.0)).all()


@given(st.floats(1e-7, 1e-3), temperatures_K, st.floats(0.1, 10.0))
def test_only_the_product_of_wavelength_and_temperature_counts(
    wavelength_m: float, temperature_K: float, factor: float
) -> None:
    same = blackbody_fraction(wavelength_m * factor, temperature_K / factor)
    assert same == pytest.approx(blackbody_fraction(wavelength_m, temperature_K), rel=1e-9, abs=1e-12)


def test_parallel_plates_agree_with_the_worked_case() -> None:
    # 300 to 77 K, both emissivities 0.1: recomputed from the formula of Siegel and Howell.
    factor = grey_exchange_factor(0.1, 0.1, 1.0, 1.0)
    assert radiated_W(factor, 1.0, 77.0, 300.0) == pytest.approx(24.069, rel=1e-4)


@given(emissivities, emissivities, areas_m2, areas_m2)
def test_what_one_surface_gains_the_other_loses(
    cold: float, hot: float, cold_m2: float, hot_m2: float
) -> None:
    there = grey_exchange_factor(cold, hot, cold_m2, hot_m2) * cold_m2
    back = grey_exchange_factor(hot, cold, hot_m2, cold_m2) * hot_m2
    assert there == pytest.approx(back, rel=1e-9)


@given(emissivities, emissivities, areas_m2, areas_m2)
def test_an_exchange_factor_never_exceeds_either_emissivity(
    cold: float, hot: float, cold_m2: float, hot_m2: float
) -> None:
    factor = grey_exchange_factor(cold, hot, cold_m2, hot_m2)
    assert 0.0 < factor <= cold * (1.0 + 1e-12)
    assert factor * cold_m2 <= hot * hot_m2 * (1.0 + 1e-12)


def test_a_large_enclosure_acts_as_a_black_body() -> None:
    assert grey_exchange_factor(0.07, 0.3, 1e-6, 1.0) == pytest.approx(0.07, rel=1e-5)


def test_factors_take_arrays() -> None:
    factors = grey_exchange_factor(np.array([0.1, 0.5]), 0.1, 1.0, np.array([1.0, 2.0]))
    assert isinstance(factors, np.ndarray)
    assert factors[0] == pytest.approx(1.0 / 19.0)


@given(emissivities, st.integers(0, 40))
def test_equal_shields_divide_the_heat_by_their_number_and_one(emissivity: float, shields: int) -> None:
    bare = shield_exchange_factor(emissivity, emissivity, emissivity, 0)
    shielded = shield_exchange_factor(emissivity, emissivity, emissivity, shields)
    assert shielded == pytest.approx(bare / (shields + 1), rel=1e-9)


def test_no_shield_is_the_pair_of_plates() -> None:
    plates = grey_exchange_factor(0.2, 0.6, 1.0, 1.0)
    assert shield_exchange_factor(0.2, 0.6, 0.03, 0) == pytest.approx(plates, rel=1e-12)


@given(temperatures_K, temperatures_K, emissivities)
def test_heat_runs_from_hot_to_cold(cold_K: float, hot_K: float, factor: float) -> None:
    heat_W = radiated_W(factor, 0.1, cold_K, hot_K)
    assert heat_W == pytest.approx(-radiated_W(factor, 0.1, hot_K, cold_K), abs=1e-15)
    assert (heat_W >= 0.0) == (hot_K >= cold_K)


def test_another_library_finds_the_same_heat() -> None:
    # ht, Thermal Radiation: q = e sigma (T^4 - T2^4).
    from ht.radiation import q_rad

    assert radiated_W(0.4, 1.0, 200.0, 300.0) == pytest.approx(q_rad(0.4, 300, 200), rel=3e-6)


@pytest.mark.parametrize("bad", [0.0, -0.1, 1.01, math.nan])
def test_an_emissivity_outside_its_range_is_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match="hot_emissivity"):
        grey_exchange_factor(0.1, bad, 1.0, 1.0)
    with pytest.raises(Unphysical, match="shield_emissivity"):
        shield_exchange_factor(0.1, 0.1, bad, 2)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_a_temperature_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match="temperature_K"):
        emissive_power_W_m2(bad)
    with pytest.raises(Unphysical, match="temperature_K"):
        blackbody_fraction(1e-6, bad)
    with pytest.raises(Unphysical, match="hot_K"):
        radiated_W(0.1, 1.0, 4.0, bad)


def test_a_wavelength_below_zero_is_refused() -> None:
    with pytest.raises(Unphysical, match="wavelength_m"):
        blackbody_fraction(-1e-6, 300.0)
    with pytest.raises(Unphysical, match="wavelength_m"):
        blackbody_fraction(math.nan, 300.0)
