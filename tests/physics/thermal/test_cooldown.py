"""Times to get cold: closed forms, a published estimate, and the laws a cooldown keeps."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from server.physics.errors import NoData, OutOfRange, Unphysical
from server.physics.materials import Material, material, table_material
from server.physics.statistics import Band
from server.physics.thermal.cooldown import (
    ColdMass,
    NetPower,
    added_mass_delay_s,
    cooldown_times,
    cooling_time_s,
    enthalpy_J,
    learnt_power,
    power_from_points,
)

COPPER = "copper-rrr-100"


def with_specific_heat(T_K: list[float], specific_heat_J_kg_K: list[float]) -> Material:
    return table_material(
        "solid",
        T_K,
        [1.0] * len(T_K),
        source="chosen for a closed form",
        relative_uncertainty=0.0,
        specific_heat_J_kg_K=specific_heat_J_kg_K,
    )


def constant_power(power_W: float) -> NetPower:
    return power_from_points([1.0, 310.0], [power_W, power_W], 0.0)


def test_five_kilograms_of_copper_under_ten_watts_take_the_recomputed_time() -> None:
    # 5 kg, 10 W net, 300 to 77 K: 10.41 h, closed form and ODE, recomputed with the NIST specific heat.
    time_s = cooling_time_s([ColdMass(COPPER, 5.0)], constant_power(10.0), 300.0, 77.0)
    assert time_s.middle / 3600.0 == pytest.approx(10.41, rel=1e-3)


def test_a_heat_capacity_under_a_straight_power_takes_its_logarithm() -> None:
    # C = 1000 J/K, P = 0.2 (T - 3) W, 300 to 10 K: C/a ln(297/7) = 18 739.1 s.
    solid = with_specific_heat([2.0, 310.0], [1000.0, 1000.0])
    power = power_from_points([3.0, 300.0], [0.0, 0.2 * 297.0], 0.0)
    time_s = cooling_time_s([ColdMass(solid, 1.0)], power, 300.0, 10.0)
    assert time_s.middle == pytest.approx(18739.1, rel=1e-5)


def test_radiation_alone_cools_a_debye_like_solid_as_its_closed_form_says() -> None:
    # c = c0 T and P = a T^4: t = c0/(2a) (1/Tf² - 1/Ti²), so that T falls as t^(-1/2) late.
    solid = with_specific_heat([1.0, 310.0], [1.0, 310.0])
    T_K = np.geomspace(5.0, 300.0, 4000)
    power = power_from_points(T_K.tolist(), (1e-6 * T_K**4).tolist(), 0.0)
    for cold_K in (200.0, 77.0, 20.0, 5.0):
        exact_s = (1.0 / cold_K**2 - 1.0 / 300.0**2) / 2e-6
        time_s = cooling_time_s([ColdMass(solid, 1.0)], power, 300.0, cold_K)
        assert time_s.middle == pytest.approx(exact_s, rel=1e-4)


def test_a_published_estimate_of_a_large_instrument_is_met() -> None:
    # Instrument note SDN0007.02 of an infrared spectrograph: 700 kg of 6061 aluminium, 293 to 60 K with
    # 650 W on the mean: 47 h with a mean specific heat of 650 J/(kg K); 50.0 h with the NIST fit.
    time_s = cooling_time_s([ColdMass("aluminium-6061", 700.0)], constant_power(650.0), 293.0, 60.0)
    assert time_s.middle / 3600.0 == pytest.approx(47.0, rel=0.10)
    assert time_s.middle / 3600.0 == pytest.approx(50.0, rel=2e-3)
    assert time_s.contains(47.0 * 3600.0)


def test_nearly_all_the_enthalpy_is_above_77_K() -> None:
    # 93 % of copper's and 95 % of aluminium's, recomputed.
    for name, share in ((COPPER, 0.93), ("aluminium-6061", 0.95)):
        mass = [ColdMass(name, 1.0)]
        above = enthalpy_J(mass, 77.0, 300.0).middle / enthalpy_J(mass, 4.0, 300.0).middle
        assert above == pytest.approx(share, abs=0.005)


def test_the_time_is_that_of_the_differential_equation() -> None:
    masses = [ColdMass(COPPER, 6.0), ColdMass("stainless-304", 1.0), ColdMass("g10-warp", 0.2)]
    points_K, points_W = [3.0, 10.0, 40.0, 100.0, 300.0], [0.0, 8.0, 35.0, 55.0, 70.0]

    def slope(_: float, state: np.ndarray) -> list[float]:
        T_K = float(state[0])
        capacity = sum(material(m.material).specific_heat_J_kg_K(T_K) * m.mass_band_kg.middle for m in masses)
        return [-float(np.interp(T_K, points_K, points_W)) / capacity]

    def cold(_: float, state: np.ndarray) -> float:
        return float(state[0]) - 20.0

    cold.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(slope, (0.0, 1e6), [295.0], events=cold, rtol=1e-8, atol=1e-8)
    time_s = cooling_time_s(masses, power_from_points(points_K, points_W), 295.0, 20.0)
    assert time_s.middle == pytest.approx(solved.t_events[0][0], rel=1e-5)


MASSES = st.lists(
    st.builds(
        ColdMass,
        st.sampled_from([COPPER, "aluminium-6061", "stainless-304", "g10-warp", "nylon"]),
        st.floats(0.01, 50.0),
    ),
    min_size=1,
    max_size=4,
)
POWER = st.builds(
    lambda powers: power_from_points([3.0, 30.0, 100.0, 310.0], sorted(powers)),
    st.lists(st.floats(0.1, 100.0), min_size=4, max_size=4, unique=True),
)


@settings(deadline=None)
@given(masses=MASSES, power=POWER, through_K=st.floats(5.0, 290.0))
def test_times_add_along_the_way(masses: list[ColdMass], power: NetPower, through_K: float) -> None:
    whole = cooling_time_s(masses, power, 300.0, 4.0).middle
    first = cooling_time_s(masses, power, 300.0, through_K).middle
    second = cooling_time_s(masses, power, through_K, 4.0).middle
    assert first + second == pytest.approx(whole, rel=1e-4)


@settings(deadline=None)
@given(masses=MASSES, power=POWER, added=st.floats(0.01, 5.0))
def test_an_added_mass_costs_the_same_whatever_else_is_there(
    masses: list[ColdMass], power: NetPower, added: float
) -> None:
    more = ColdMass(COPPER, added)
    before = cooling_time_s(masses, power, 295.0, 10.0).middle
    after = cooling_time_s([*masses, more], power, 295.0, 10.0).middle
    assert after - before == pytest.approx(added_mass_delay_s(more, power, 295.0, 10.0).middle, rel=1e-6)


@settings(deadline=None)
@given(masses=MASSES, power=POWER, factor=st.floats(1.1, 5.0))
def test_twice_the_power_takes_half_the_time(masses: list[ColdMass], power: NetPower, factor: float) -> None:
    stronger = NetPower(
        power.edges_K,
        tuple(factor * value for value in power.cold_W),
        tuple(factor * value for value in power.hot_W),
        power.relative_uncertainty,
    )
    slow, fast = (cooling_time_s(masses, each, 300.0, 20.0).middle for each in (power, stronger))
    assert slow / fast == pytest.approx(factor, rel=1e-9)


def falling(masses: list[ColdMass], power: NetPower, marks_K: list[float]) -> list[float]:
    """Times at which a cooldown passes these temperatures, the first being its start."""
    first, *others = marks_K
    return [0.0, *(cooling_time_s(masses, power, first, mark).middle for mark in others)]


@pytest.mark.parametrize("readings", [12, 400])
def test_a_reference_cooldown_is_told_exactly_by_the_power_learnt_from_it(readings: int) -> None:
    masses = [ColdMass(COPPER, 8.0), ColdMass("aluminium-6061", 3.0)]
    true_power = power_from_points([3.0, 40.0, 300.0], [0.5, 30.0, 60.0])
    T_K = np.geomspace(295.0, 4.0, readings).tolist()
    time_s = falling(masses, true_power, T_K)
    learnt = learnt_power(time_s, T_K, masses)
    for number in (readings // 3, readings // 2, readings - 1):
        told = cooling_time_s(masses, learnt, 295.0, T_K[number]).middle
        assert told == pytest.approx(time_s[number], rel=2e-3)


def test_the_power_learnt_from_many_readings_is_the_power_there_was() -> None:
    masses = [ColdMass(COPPER, 8.0)]
    true_power = power_from_points([3.0, 40.0, 300.0], [0.5, 30.0, 60.0])
    T_K = np.geomspace(295.0, 4.0, 600).tolist()
    learnt = learnt_power(falling(masses, true_power, T_K), T_K, masses)
    middle_K = (np.array(learnt.edges_K[1:]) + learnt.edges_K[:-1]) / 2.0
    assert learnt.cold_W == pytest.approx(
        np.interp(middle_K, [3.0, 40.0, 300.0], [0.5, 30.0, 60.0]), rel=0.03
    )


def test_readings_that_rise_again_count_from_when_a_temperature_was_first_reached() -> None:
    masses = [ColdMass(COPPER, 1.0)]
    steady = learnt_power([0.0, 100.0, 300.0], [300.0, 250.0, 200.0], masses)
    bumpy = learnt_power([0.0, 100.0, 150.0, 300.0], [300.0, 250.0, 255.0, 200.0], masses)
    assert bumpy.cold_W == steady.cold_W


def test_times_come_with_a_band_that_holds_masses_specific_heats_and_power() -> None:
    power = power_from_points([3.0, 300.0], [5.0, 60.0], 0.2)
    sure = cooling_time_s([ColdMass(COPPER, 5.0)], power, 295.0, 10.0)
    vague = cooling_time_s([ColdMass(COPPER, Band(3.0, 5.0, 8.0))], power, 295.0, 10.0)
    assert sure.low is not None
    assert sure.high is not None
    assert vague.low is not None
    assert vague.high is not None
    assert sure.best == vague.best
    assert vague.low < sure.low < sure.middle / 1.2
    assert vague.high > sure.high > sure.middle * 1.2


def test_a_mass_of_which_only_the_range_is_known_gives_only_a_range() -> None:
    time_s = cooling_time_s([ColdMass(COPPER, Band(3.0, None, 8.0))], constant_power(10.0), 295.0, 77.0)
    assert time_s.best is None
    assert time_s.low is not None
    assert time_s.high is not None


def test_the_usual_targets_and_the_base_are_told_in_order() -> None:
    power = power_from_points([3.0, 40.0, 300.0], [0.0, 30.0, 60.0])
    times = cooldown_times([ColdMass(COPPER, 10.0)], power, 295.0, 3.2)
    assert [time.target_K for time in times] == [100.0, 50.0, 10.0, 3.2]
    told = [time.time_s.middle for time in times if time.time_s is not None]
    assert len(told) == 4
    assert told == sorted(told)


def test_a_stage_that_stays_warm_reaches_only_the_targets_above_its_base() -> None:
    power = power_from_points([3.0, 35.0, 300.0], [-1.0, 0.0, 60.0])
    times = cooldown_times([ColdMass("aluminium-6061", 10.0)], power, 295.0, 4.0)
    assert [time.time_s is not None for time in times] == [True, True, False, False]
    assert "used up at 35 K" in times[-1].reason


def test_what_the_power_is_not_known_for_is_refused() -> None:
    power = power_from_points([20.0, 300.0], [5.0, 60.0])
    with pytest.raises(OutOfRange, match="known from 20 to 300 K"):
        cooling_time_s([ColdMass(COPPER, 1.0)], power, 295.0, 4.0)


def test_a_mass_without_specific_heat_cannot_be_told() -> None:
    with pytest.raises(NoData):
        cooldown_times([ColdMass("brass", 1.0)], constant_power(10.0), 295.0, 4.0)


@pytest.mark.parametrize(
    ("T_K", "power_W", "relative"),
    [
        ([4.0], [1.0], 0.1),
        ([4.0, 300.0], [1.0], 0.1),
        ([300.0, 4.0], [60.0, 1.0], 0.1),
        ([-4.0, 300.0], [1.0, 60.0], 0.1),
        ([4.0, 300.0], [1.0, math.nan], 0.1),
        ([4.0, 300.0], [1.0, 60.0], -0.1),
    ],
)
def test_points_that_make_no_power_are_refused(
    T_K: list[float], power_W: list[float], relative: float
) -> None:
    with pytest.raises(Unphysical):
        power_from_points(T_K, power_W, relative)


@pytest.mark.parametrize(
    ("time_s", "T_K"),
    [
        ([0.0], [300.0]),
        ([0.0, 10.0], [300.0]),
        ([0.0, 10.0], [300.0, 200.0, 100.0]),
        ([0.0, 0.0], [300.0, 200.0]),
        ([0.0, 10.0], [300.0, 310.0]),
        ([0.0, math.nan], [300.0, 200.0]),
        ([0.0, 10.0], [300.0, -2.0]),
    ],
)
def test_readings_that_tell_no_cooldown_are_refused(time_s: list[float], T_K: list[float]) -> None:
    with pytest.raises(Unphysical):
        learnt_power(time_s, T_K, [ColdMass(COPPER, 1.0)])


@pytest.mark.parametrize(
    ("mass_kg", "hot_K", "cold_K"), [(-1.0, 295.0, 4.0), (1.0, 4.0, 295.0), (1.0, 300.0, 0.0)]
)
def test_what_cannot_be_cooled_is_refused(mass_kg: float, hot_K: float, cold_K: float) -> None:
    with pytest.raises(Unphysical):
        cooling_time_s([ColdMass(COPPER, mass_kg)], constant_power(10.0), hot_K, cold_K)
