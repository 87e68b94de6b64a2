"""Heat through gas against published constants, another library's viscosities, and its own limits."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import UnknownMaterial, Unphysical
from server.physics.thermal.gas import (
    accommodation,
    combined_accommodation,
    free_molecular_conductance_W_m2_K_Pa,
    free_molecular_W_m2,
    gas_named,
    gas_W_m2,
    gases,
    knudsen_number,
    mean_free_path_m,
    pressure_where_cold_Pa,
    remaining_gases,
)

temperatures_K = st.floats(3.0, 310.0)
fractions = st.floats(0.02, 1.0)


@pytest.mark.parametrize(
    ("gas", "gauge_K", "conductance"),
    [
        ("helium", 300.0, 2.0995),
        ("helium", 295.0, 2.1173),
        ("helium", 293.15, 2.1239),
        ("helium", 77.0, 4.144),
        ("hydrogen", 300.0, 4.347),
        ("hydrogen", 295.0, 4.384),
        ("hydrogen", 77.0, 8.581),
        ("nitrogen", 300.0, 1.190),
        ("nitrogen", 295.0, 1.2005),
        ("nitrogen", 77.0, 2.350),
        ("air", 300.0, 1.171),
        ("air", 295.0, 1.1807),
        ("air", 77.0, 2.311),
        ("neon", 300.0, 0.935),
        ("neon", 295.0, 0.943),
        ("neon", 77.0, 1.846),
    ],
)
def test_free_molecules_carry_the_recomputed_heat(gas: str, gauge_K: float, conductance: float) -> None:
    # Kennard's formula, recomputed.
    assert free_molecular_conductance_W_m2_K_Pa(gas, gauge_K) == pytest.approx(conductance, rel=6e-4)


@pytest.mark.parametrize(("gas", "published"), [("helium", 2.12), ("hydrogen", 4.38), ("air", 1.18)])
def test_free_molecules_carry_the_published_heat_at_a_gauge_at_295_K(gas: str, published: float) -> None:
    # Published constants for a gauge at room temperature (Corruccini, Vacuum 7-8, 1959, as quoted).
    assert free_molecular_conductance_W_m2_K_Pa(gas, 295.0) == pytest.approx(published, rel=3e-3)


def test_arrays_of_gauges_are_answered_in_kind() -> None:
    answer = free_molecular_conductance_W_m2_K_Pa("helium", np.array([[300.0], [75.0]]))
    assert answer.shape == (2, 1)
    assert answer[1, 0] == pytest.approx(2.0 * answer[0, 0])


def test_the_combined_accommodation_is_that_of_the_worse_surface() -> None:
    # Worked case: a cold surface that takes all, a warm one that takes 0.3, equal areas.
    assert combined_accommodation(1.0, 0.3, 0.1, 0.1) == pytest.approx(0.3, rel=1e-12)


def test_helium_between_300_and_4_K_carries_the_worked_flux() -> None:
    # Worked case, recomputed: 1e-4 Pa, accommodation 0.3, gauge at 300 K.
    assert free_molecular_W_m2("helium", 1e-4, 4.0, 300.0, 300.0, 0.3) == pytest.approx(0.01864, rel=1e-3)


@pytest.mark.parametrize(
    ("pressure_mbar", "shield_W", "cold_W"), [(1e-3, 4.0, 0.160), (1e-4, 0.4, 0.016), (1e-5, 0.04, 0.0016)]
)
def test_helium_in_a_bad_vacuum_is_as_bad_as_the_trade_says(
    pressure_mbar: float, shield_W: float, cold_W: float
) -> None:
    # Common practice figures for 0.15 m² of shield and 0.05 m² of cold area, accommodation 0.5.
    pressure_Pa = pressure_mbar * 100.0
    to_shield = 0.15 * free_molecular_W_m2("helium", pressure_Pa, 32.0, 295.0, 295.0, 0.5)
    to_cold = 0.05 * free_molecular_W_m2("helium", pressure_Pa, 4.0, 35.0, 295.0, 0.5)
    assert to_shield == pytest.approx(shield_W, rel=0.06)
    assert to_cold == pytest.approx(cold_W, rel=0.06)


@pytest.mark.parametrize(
    ("gas", "temperature_K", "path_mm"),
    [
        ("helium", 300.0, 19.7),
        ("helium", 77.0, 4.18),
        ("helium", 20.0, 0.905),
        ("nitrogen", 300.0, 6.69),
        ("hydrogen", 300.0, 12.46),
    ],
)
def test_mean_free_paths_at_one_pascal_are_the_recomputed_ones(
    gas: str, temperature_K: float, path_mm: float
) -> None:
    # Recomputed with the viscosities of CoolProp.
    assert mean_free_path_m(gas, 1.0, temperature_K) == pytest.approx(path_mm * 1e-3, rel=0.02)


@pytest.mark.parametrize(
    ("gas", "fluid", "low_K", "high_K"),
    [
        ("helium", "Helium", 6.0, 310.0),
        ("hydrogen", "Hydrogen", 15.0, 310.0),
        ("nitrogen", "Nitrogen", 66.0, 310.0),
        ("air", "Air", 66.0, 310.0),
        ("argon", "Argon", 86.0, 310.0),
        ("water", "Water", 275.0, 310.0),
    ],
)
def test_transport_between_the_points_follows_another_library(
    gas: str, fluid: str, low_K: float, high_K: float
) -> None:
    # CoolProp; its own values are the points of the tables, so this tests what lies between them.
    from CoolProp.CoolProp import PropsSI

    for T_K in np.linspace(low_K, high_K, 12):
        viscosity = PropsSI("viscosity", "T", float(T_K), "P", 10.0, fluid)
        speed = math.sqrt(math.pi * 8.314462618 * T_K / (2.0 * gas_named(gas).molar_mass_kg_mol))
        assert mean_free_path_m(gas, 10.0, float(T_K)) == pytest.approx(viscosity / 10.0 * speed, rel=0.02)
        gap_m = 1e-3
        flux = gas_W_m2(gas, 1e7, gap_m, float(T_K), float(T_K) + 0.1, 300.0, 1.0)
        conductivity = PropsSI("conductivity", "T", float(T_K), "P", 10.0, fluid)
        assert flux * gap_m / 0.1 == pytest.approx(conductivity, rel=0.025)


def test_molar_masses_are_those_of_another_library() -> None:
    from CoolProp.CoolProp import PropsSI

    for name in gases():
        fluid = name.capitalize()
        assert gas_named(name).molar_mass_kg_mol == pytest.approx(PropsSI("molemass", fluid), rel=2e-4)


@given(st.sampled_from(gases()), temperatures_K, temperatures_K, fractions, st.floats(1e-8, 1e3))
def test_heat_runs_from_hot_to_cold_and_grows_with_pressure(
    gas: str, cold_K: float, hot_K: float, taken: float, pressure_Pa: float
) -> None:
    flux = gas_W_m2(gas, pressure_Pa, 0.01, cold_K, hot_K, 295.0, taken)
    back = gas_W_m2(gas, pressure_Pa, 0.01, hot_K, cold_K, 295.0, taken)
    assert flux == pytest.approx(-back, rel=1e-9)
    assert flux * (hot_K - cold_K) >= 0.0
    more = gas_W_m2(gas, 2.0 * pressure_Pa, 0.01, cold_K, hot_K, 295.0, taken)
    assert abs(flux) <= abs(more) * (1.0 + 1e-12) <= 2.0 * abs(flux) * (1.0 + 1e-9)


@given(st.sampled_from(gases()), fractions)
def test_thin_gas_is_free_molecules_and_dense_gas_a_continuum(gas: str, taken: float) -> None:
    thin = gas_W_m2(gas, 1e-7, 0.01, 100.0, 300.0, 295.0, taken)
    assert thin == pytest.approx(free_molecular_W_m2(gas, 1e-7, 100.0, 300.0, 295.0, taken), rel=1e-5)
    dense = gas_W_m2(gas, 1e8, 0.01, 100.0, 300.0, 295.0, taken)
    assert dense == pytest.approx(gas_W_m2(gas, 1e9, 0.01, 100.0, 300.0, 295.0, taken), rel=1e-3)
    assert dense == pytest.approx(0.5 * gas_W_m2(gas, 1e8, 0.005, 100.0, 300.0, 295.0, taken), rel=1e-3)


def test_no_gas_and_no_difference_carry_nothing() -> None:
    assert gas_W_m2("helium", 0.0, 0.01, 4.0, 300.0, 295.0, 0.5) == 0.0
    assert gas_W_m2("helium", 1.0, 0.01, 40.0, 40.0, 295.0, 0.5) == 0.0


@given(fractions, fractions, st.floats(0.01, 1.0))
def test_two_surfaces_never_take_up_more_than_the_cold_one(cold: float, hot: float, ratio: float) -> None:
    both = combined_accommodation(cold, hot, ratio, 1.0)
    assert 0.0 < both <= cold * (1.0 + 1e-12)


@given(st.sampled_from(gases()), st.floats(1.0, 299.0))
def test_colder_surfaces_take_up_more(gas: str, surface_K: float) -> None:
    cold, warm = accommodation(gas, surface_K), accommodation(gas, surface_K + 1.0)
    assert cold.low is not None
    assert cold.high is not None
    assert 0.0 < cold.low < cold.middle <= cold.high <= 1.0
    assert cold.middle >= warm.middle - 1e-12


@pytest.mark.parametrize(("temperature_K", "measured"), [(90.0, 0.413), (273.0, 0.360), (369.0, 0.343)])
def test_helium_on_nickel_with_gas_on_it_lies_in_the_band(temperature_K: float, measured: float) -> None:
    # Raines, Phys. Rev. 56 (1939) 691.
    assert accommodation("helium", temperature_K).contains(measured)


def test_what_freezes_out_follows_the_trade() -> None:
    # Common practice, no source: below 20 K only helium and some hydrogen and neon remain.
    assert remaining_gases(300.0) == gases()
    assert "water" not in remaining_gases(77.0)
    assert "nitrogen" in remaining_gases(77.0)
    assert set(remaining_gases(20.0)) == {"helium", "hydrogen", "neon"}
    assert remaining_gases(3.0) == ("helium",)


def test_freezing_ranges_agree_with_vapour_pressures_where_a_library_has_them() -> None:
    # CoolProp down to the triple points: there the vapour pressure is far above a vacuum's.
    from CoolProp.CoolProp import PropsSI

    for name in ("hydrogen", "neon", "nitrogen", "argon", "water"):
        freezes_K = gas_named(name).freezes_K
        assert freezes_K is not None
        assert freezes_K[1] < PropsSI("Ttriple", name.capitalize())


def test_a_cold_space_holds_less_pressure_than_its_gauge_reads() -> None:
    assert pressure_where_cold_Pa(1e-4, 300.0, 3.0) == pytest.approx(1e-5)


def test_the_law_that_holds_is_told_by_the_knudsen_number() -> None:
    assert knudsen_number("helium", 1.0, 300.0, 0.0197) == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_numbers_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match="gauge_K"):
        free_molecular_conductance_W_m2_K_Pa("helium", bad)
    with pytest.raises(Unphysical, match="gap_m"):
        knudsen_number("helium", 1.0, 300.0, bad)
    with pytest.raises(Unphysical, match="temperature_K"):
        mean_free_path_m("helium", 1.0, bad)


def test_a_gas_nobody_listed_is_refused() -> None:
    with pytest.raises(UnknownMaterial, match="'xenon'"):
        gas_named("xenon")
