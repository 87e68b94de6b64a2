"""Self-heating of thermometers against recomputed cases."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.thermal.thermometers import largest_excitation_A, self_heating_K, unheated_K


@pytest.mark.parametrize(
    ("volts", "ohms", "resistance_K_W", "heating_K"), [(0.010, 1e3, 500.0, 50e-6), (0.002, 1e3, 1000.0, 4e-6)]
)
def test_a_resistor_read_with_a_voltage_warms_as_recomputed(
    volts: float, ohms: float, resistance_K_W: float, heating_K: float
) -> None:
    assert self_heating_K(volts**2 / ohms, resistance_K_W) == pytest.approx(heating_K, rel=1e-9)


def test_one_per_cent_at_helium_temperature_is_the_recomputed_current() -> None:
    assert largest_excitation_A(0.01, 4.2, 1000.0, 1000.0) == pytest.approx(2.049e-4, rel=1e-3)


def test_two_powers_give_the_reading_without_any() -> None:
    assert unheated_K(4.200080, 1e-7, 4.200320, 4e-7) == pytest.approx(4.2, abs=1e-9)
    # With the current doubled the power is four times: T0 = (4 T1 - T2)/3.
    assert unheated_K(5.1, 1.0, 5.4, 4.0) == pytest.approx((4.0 * 5.1 - 5.4) / 3.0)


@given(st.floats(1.0, 300.0), st.floats(1e-9, 1e-5), st.floats(1.5, 10.0), st.floats(1.0, 1e5))
def test_what_self_heating_adds_is_taken_off_again(
    true_K: float, power_W: float, factor: float, resistance_K_W: float
) -> None:
    first, second = (true_K + self_heating_K(p, resistance_K_W) for p in (power_W, factor * power_W))
    assert unheated_K(first, power_W, second, factor * power_W) == pytest.approx(true_K, rel=1e-7)


@given(st.floats(1e-4, 0.1), st.floats(1.0, 300.0), st.floats(1.0, 1e5), st.floats(1.0, 1e5))
def test_the_largest_current_heats_by_just_its_share(
    share: float, T_K: float, ohms: float, resistance_K_W: float
) -> None:
    current_A = largest_excitation_A(share, T_K, ohms, resistance_K_W)
    assert self_heating_K(current_A**2 * ohms, resistance_K_W) == pytest.approx(share * T_K)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(Unphysical, match="power_W"):
        self_heating_K(-1.0, 100.0)
    with pytest.raises(Unphysical, match="share"):
        largest_excitation_A(math.nan, 4.0, 1e3, 1e3)
    with pytest.raises(Unphysical, match="second_W"):
        unheated_K(4.0, 1e-7, 4.1, 1e-7)
