"""The table behind the conductivity integral, against adaptive quadrature and against its own laws."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from server.physics.materials import Material, material, materials
from server.physics.materials.integral import integrate

CONDUCTORS = materials("conductivity")
fraction = st.floats(0.0, 1.0)


def at_fraction(solid: Material, part: float) -> float:
    """A temperature inside what the material covers, evenly spread in its logarithm."""
    cold_K, hot_K = solid.about("conductivity").covered_K
    return float(np.clip(cold_K * (hot_K / cold_K) ** part, cold_K, hot_K))


@settings(max_examples=150, deadline=None)
@given(name=st.sampled_from(CONDUCTORS), low=fraction, high=fraction)
def test_the_table_is_within_1e_6_of_adaptive_quadrature(name: str, low: float, high: float) -> None:
    solid = material(name)
    cold_K, hot_K = sorted((at_fraction(solid, low), at_fraction(solid, high)))
    assume(hot_K - cold_K > 1e-3 * hot_K)
    corners = [T_K for T_K in solid.corners_K("conductivity") if cold_K < T_K < hot_K]
    edges = [cold_K, *corners, hot_K]
    exact = sum(quad(solid.conductivity_W_m_K, a, b, epsrel=1e-10)[0] for a, b in pairwise(edges))
    assert solid.conductivity_integral_W_m(cold_K, hot_K) == pytest.approx(exact, rel=1e-6)


@given(name=st.sampled_from(CONDUCTORS), a=fraction, b=fraction, c=fraction)
def test_integrals_add_over_sub_ranges(name: str, a: float, b: float, c: float) -> None:
    solid = material(name)
    cold_K, middle_K, hot_K = (at_fraction(solid, part) for part in (a, b, c))
    whole = solid.conductivity_integral_W_m(cold_K, hot_K)
    parts = solid.conductivity_integral_W_m(cold_K, middle_K) + solid.conductivity_integral_W_m(
        middle_K, hot_K
    )
    span = abs(solid.conductivity_integral_W_m(*solid.about("conductivity").covered_K))
    assert parts == pytest.approx(whole, rel=1e-9, abs=1e-12 * span)


@given(name=st.sampled_from(CONDUCTORS), a=fraction, b=fraction)
def test_an_integral_changes_sign_when_reversed_and_grows_with_temperature(
    name: str, a: float, b: float
) -> None:
    solid = material(name)
    cold_K, hot_K = sorted((at_fraction(solid, a), at_fraction(solid, b)))
    forward = solid.conductivity_integral_W_m(cold_K, hot_K)
    assert solid.conductivity_integral_W_m(hot_K, cold_K) == -forward
    assert forward > 0.0 or hot_K - cold_K < 1e-9 * hot_K


@given(name=st.sampled_from(materials("specific_heat")), a=fraction, b=fraction)
def test_enthalpy_grows_with_temperature(name: str, a: float, b: float) -> None:
    solid = material(name)
    cold_K, hot_K = solid.about("specific_heat").covered_K
    low_K, high_K = sorted(cold_K + part * (hot_K - cold_K) for part in (a, b))
    assert solid.enthalpy_J_kg(low_K, high_K) >= 0.0


@given(name=st.sampled_from(CONDUCTORS), T_K=st.floats(-50.0, 2000.0))
def test_a_solver_finds_a_smooth_rising_integral_wherever_it_steps(name: str, T_K: float) -> None:
    solid = material(name)
    step = solid.integral_anywhere_W_m(T_K, T_K + 1.0)
    assert np.isfinite(step)
    assert step > 0.0


def test_the_slope_of_the_table_is_the_property_at_and_between_its_nodes() -> None:
    table = material("copper-rrr-100").table()
    assert table.slope == pytest.approx(material("copper-rrr-100").conductivity_W_m_K(table.T_K))
    T_K = np.geomspace(1.5, 300.0, 333)
    slope = (table.at(T_K * (1.0 + 1e-4)) - table.at(T_K * (1.0 - 1e-4))) / (2e-4 * T_K)
    assert slope == pytest.approx(material("copper-rrr-100").conductivity_W_m_K(T_K), rel=1e-5)


def test_a_power_law_integrates_to_its_closed_form() -> None:
    table = integrate(lambda T_K: 0.093 * T_K**1.23, np.array([1.0, 310.0]))
    exact = 0.093 * (310.0**2.23 - 1.0) / 2.23
    assert table.at(np.array(310.0)) == pytest.approx(exact, rel=1e-12)
