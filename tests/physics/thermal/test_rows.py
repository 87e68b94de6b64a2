"""The tables the balance looks everything up in."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.materials import constant_material, material
from server.physics.thermal.rows import LINEAR, POWER, RADIATION, Stack, conduction, stacked, stacked_ends

temperatures = st.floats(1.0, 310.0)


@pytest.mark.parametrize("name", ["phosphor-bronze", "copper-rrr-100", "stainless-304", "sapphire", "ptfe"])
def test_a_solid_has_its_own_integral(name: str) -> None:
    solid, stack = material(name), Stack((conduction(material(name)),))
    T_K = np.geomspace(1.01, 309.0, 60)
    value, slope = stack.at(T_K)
    exact = solid.conductivity_integral_W_m(T_K[:-1], T_K[1:])
    assert np.diff(value[:, 0]) == pytest.approx(exact, rel=1e-5)
    assert slope[:, 0] == pytest.approx(solid.conductivity_W_m_K(T_K), rel=1e-3)


@given(temperatures, temperatures)
def test_radiation_power_and_constants(hot_K: float, cold_K: float) -> None:
    constant = conduction(constant_material(2.5))
    value, _ = stacked((POWER, LINEAR, RADIATION, constant)).at(np.array([hot_K, cold_K]))
    sigma = 5.670374419e-8
    assert value[0] - value[1] == pytest.approx(
        [0.0, hot_K - cold_K, sigma * (hot_K**4 - cold_K**4), 2.5 * (hot_K - cold_K)], rel=1e-7, abs=1e-9
    )


def test_the_derivative_is_that_of_the_value() -> None:
    stack = stacked((RADIATION, conduction(material("copper-rrr-100"))))
    T_K, step = np.geomspace(2.0, 300.0, 40), 1e-6
    (up, _), (down, _), (_, slope) = (stack.at(T_K * factor) for factor in (1 + step, 1 - step, 1.0))
    assert slope == pytest.approx((up - down) / (2.0 * step * T_K[:, None]), rel=1e-5)


def test_far_outside_it_goes_on_straight() -> None:
    stack = stacked((conduction(material("stainless-304")),))
    value, slope = stack.at(np.array([400.0, 500.0, 1e4]))
    assert value[2, 0] - value[1, 0] == pytest.approx(slope[0, 0] * 9500.0, rel=1e-6)
    below, _ = stack.at(np.array([1e-4, 0.1]))
    assert np.isfinite(below).all()


def test_the_ends_of_the_band_are_those_of_the_material() -> None:
    solid = material("phosphor-bronze")
    row = conduction(solid)
    ends_K = np.array([4.0, 35.0])
    middle = np.diff(stacked((row,)).at(ends_K)[0][:, 0])[0]
    low, high = (np.diff(stack.at(ends_K)[0][:, 0])[0] / middle for stack in stacked_ends((row,)))
    assert (low, high) == pytest.approx(solid.uncertainty_of_integral(4.0, 35.0), rel=1e-3)
