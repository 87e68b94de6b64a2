"""Bench questions against the worked figures of the trade and against the mechanisms they are made of."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import OutOfRange, Unphysical
from server.physics.materials import material
from server.physics.thermal.bench import (
    awg_area_m2,
    clamping_with_discs,
    cooling_time_at_power_s,
    residual_gas_W,
    surface_heat_W,
    wire_heat_W,
    wire_resistance_ohm,
)
from server.physics.thermal.surfaces import finishes


@pytest.mark.parametrize(("gauge", "area_mm2"), [(24, 0.2047), (32, 0.0320), (36, 0.01267), (40, 0.005013)])
def test_wire_areas_are_those_of_the_gauge(gauge: int, area_mm2: float) -> None:
    # ASTM B258.
    assert awg_area_m2(gauge) == pytest.approx(area_mm2 * 1e-6, rel=5e-3)


@pytest.mark.parametrize(
    ("name", "length_m", "hot_K", "cold_K", "low_mW", "high_mW"),
    [
        ("manganin", 0.30, 300.0, 35.0, 4.4, 4.4),
        ("manganin", 0.15, 35.0, 4.0, 0.21, 0.21),
        ("manganin", 0.45, 300.0, 4.0, 3.0, 3.0),
        ("phosphor-bronze", 0.30, 300.0, 35.0, 9.0, 15.0),
        ("phosphor-bronze", 0.15, 35.0, 4.0, 0.56, 0.56),
        ("phosphor-bronze", 0.45, 300.0, 4.0, 6.4, 9.9),
        ("copper-rrr-100", 0.30, 300.0, 35.0, 135.0, 135.0),
        ("copper-rrr-100", 0.15, 35.0, 4.0, 123.0, 123.0),
        ("copper-rrr-100", 0.45, 300.0, 4.0, 131.0, 131.0),
    ],
)
def test_24_fine_wires_bring_the_worked_heat(
    name: str, length_m: float, hot_K: float, cold_K: float, low_mW: float, high_mW: float
) -> None:
    # Worked from NIST fits (copper) and from memory (alloys): 24 wires AWG 36 between 300, 35 and 4 K.
    band = wire_heat_W(name, 0.127e-3, 24, length_m, cold_K, hot_K)
    assert band.low is not None
    assert band.high is not None
    assert band.low * 1e3 <= high_mW * 1.03
    assert band.high * 1e3 >= low_mW * 0.97


def test_a_lag_does_not_rescue_copper() -> None:
    def inner_over_whole(name: str) -> float:
        inner = wire_heat_W(name, 0.127e-3, 24, 0.15, 4.0, 35.0).middle
        return inner / wire_heat_W(name, 0.127e-3, 24, 0.45, 4.0, 300.0).middle

    assert inner_over_whole("copper-rrr-100") > 0.9
    assert inner_over_whole("manganin") < 0.1


@pytest.mark.parametrize(
    ("name", "gauge_m", "temperature_K", "ohms"),
    [
        ("phosphor-bronze", 0.127e-3, 300.0, 10.3),
        ("manganin", 0.127e-3, 300.0, 38.8),
        ("manganin", 0.127e-3, 4.2, 34.6),
    ],
)
def test_a_metre_of_wire_has_the_resistance_on_its_sheet(
    name: str, gauge_m: float, temperature_K: float, ohms: float
) -> None:
    # A wire maker's published sheet, AWG 36, ohm per metre.
    assert wire_resistance_ohm(name, gauge_m, 1.0, temperature_K).contains(ohms)


@given(st.sampled_from(["manganin", "stainless-304"]), st.floats(4.0, 290.0), st.floats(4.0, 290.0))
def test_wire_heat_turns_round_with_its_ends(name: str, one_K: float, other_K: float) -> None:
    there = wire_heat_W(name, 1e-4, 3, 0.2, one_K, other_K)
    back = wire_heat_W(name, 1e-4, 3, 0.2, other_K, one_K)
    assert there.middle == pytest.approx(-back.middle, abs=1e-15)


@given(st.sampled_from(finishes()), st.sampled_from(finishes()), st.floats(4.0, 300.0), st.floats(4.0, 300.0))
def test_radiated_heat_has_its_ends_in_order(cold: str, hot: str, cold_K: float, hot_K: float) -> None:
    band = surface_heat_W(cold, hot, 0.1, 0.2, cold_K, hot_K)
    assert (band.best is None) == ("unknown" in (cold, hot) or "frosted" in (cold, hot))
    assert band.middle * (hot_K - cold_K) >= 0.0


@pytest.mark.parametrize(("gauge_mbar", "heat_W"), [(1e-3, 4.0), (1e-4, 0.4), (1e-5, 0.04)])
def test_helium_in_the_vacuum_warms_a_shield_as_the_trade_says(gauge_mbar: float, heat_W: float) -> None:
    # Common practice figure: 0.15 m² of shield.
    assert residual_gas_W("helium", gauge_mbar * 100.0, 0.15, 0.01, 35.0, 295.0).contains(heat_W)


def test_copper_cools_in_the_recomputed_time() -> None:
    # Recomputed with the NIST fit: 5 kg copper, 10 W net, 300 to 77 K: 10.41 h.
    band = cooling_time_at_power_s("copper-rrr-100", 5.0, 10.0, 300.0, 77.0)
    assert band.best == pytest.approx(10.41 * 3600.0, rel=2e-3)


def test_discs_hold_a_joint_that_would_come_loose() -> None:
    stack = ("M4", 0.010, "stainless-304", "aluminium-6061", "A8")
    held = clamping_with_discs(200.0, *stack, "()()")
    nested = clamping_with_discs(200.0, *stack, "((((")
    assert not held.loose
    assert held.cold_N > nested.cold_N


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(Unphysical, match="count"):
        wire_heat_W("manganin", 1e-4, 0, 0.2, 4.0, 300.0)
    with pytest.raises(Unphysical, match="length_m"):
        wire_heat_W("manganin", 1e-4, 1, math.nan, 4.0, 300.0)
    with pytest.raises(OutOfRange):
        wire_heat_W("manganin", 1e-4, 1, 0.2, 4.0, 400.0)
    with pytest.raises(Unphysical, match="power_W"):
        cooling_time_at_power_s("copper-rrr-100", 1.0, 0.0, 300.0, 77.0)
    assert material("manganin").covers(4.0, 300.0)
