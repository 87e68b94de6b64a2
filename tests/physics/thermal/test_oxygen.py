"""Oxygen in a room. Sources stand beside each case; some reckon from 21 %, some from 20.9 %."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import PhysicsError
from server.physics.thermal.oxygen import oxygen_after_release, oxygen_in_flow

L_MIN = 1e-3 / 60
HOUR = 3600.0


@pytest.mark.parametrize(
    ("hours", "percent"),
    [(1.0, 20.75), (8.0, 19.08), (6.18, 19.5)],
)
def test_a_purge_left_on_in_a_sealed_room(hours: float, percent: float) -> None:
    """10 L/min into 50 m3, from 21 %: balance of oxygen, computed by hand."""
    found = oxygen_in_flow(50.0, 10 * L_MIN, 0.0, hours * HOUR, air=0.21)
    assert 100 * found == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize(("changes", "percent"), [(0.4, 20.27), (1.0, 20.65), (2.0, 20.77), (6.0, 20.86)])
def test_the_same_purge_with_air_drawn_off(changes: float, percent: float) -> None:
    """Steady state, from 20.9 %: balance of oxygen with an exhaust fan, computed by hand."""
    found = oxygen_in_flow(50.0, 10 * L_MIN, changes, 1000 * HOUR)
    assert 100 * found == pytest.approx(percent, abs=0.006)


def test_boil_off_of_five_vessels_after_a_university_s_safety_note() -> None:
    """36 m3, 5 vessels of 0.15 L a day, doubled for age, 700 times as gas, 0.4 air changes: 0.06 % less.

    University of Oxford, policy statement S4/03 on cryogenics: gas share 0.003 and depletion 0.06 %.
    """
    rate_m3_h = 5 * 0.15e-3 * 2 * 700 / 24
    assert rate_m3_h == pytest.approx(0.044, abs=0.0005)
    found = oxygen_in_flow(36.0, rate_m3_h / 3600, 0.4, 1000 * HOUR, air=0.21)
    assert 100 * (0.21 - found) == pytest.approx(0.06, abs=0.005)


def test_a_whole_cylinder_let_into_a_small_room() -> None:
    """10 m3 into 30 m3, from 21 %: 14.0 %; 100 L into it are a trifle. Computed by hand."""
    assert 100 * oxygen_after_release(30.0, 10.0, air=0.21) == pytest.approx(14.0)
    assert 100 * oxygen_after_release(30.0, 0.1, air=0.21) == pytest.approx(20.9, abs=0.05)


def test_a_purge_forgotten_overnight() -> None:
    """10 L/min for 14 h into 30 m3, from 20.9 %: sealed 15.8 %, one air change an hour 20.5 %. By hand."""
    sealed, aired = (oxygen_in_flow(30.0, 10 * L_MIN, n, 14 * HOUR) for n in (0.0, 1.0))
    assert 100 * sealed == pytest.approx(15.8, abs=0.05)
    assert 100 * aired == pytest.approx(20.5, abs=0.05)


@pytest.mark.parametrize(("air", "pushed", "mixed"), [(0.21, 0.0714, 0.0741), (0.209, 0.0670, 0.0693)])
def test_how_much_gas_brings_a_room_to_19_5_percent(air: float, pushed: float, mixed: float) -> None:
    """19.5 %: 29 CFR 1910.146(b), oxygen deficient atmosphere. Shares of the room by hand."""
    assert oxygen_after_release(1.0, pushed, air) == pytest.approx(0.195, abs=2e-5)
    assert oxygen_in_flow(1.0, mixed, 0.0, 1.0, air) == pytest.approx(0.195, abs=2e-5)


@given(st.floats(1, 1e4), st.floats(0, 1), st.floats(0, 50), st.floats(0, 1e6), st.floats(0, 1e6))
def test_longer_is_never_better_and_no_share_leaves_its_range(
    volume: float, rate: float, changes: float, first: float, second: float
) -> None:
    short, long = sorted((first, second))
    early, late = (oxygen_in_flow(volume, rate, changes, t) for t in (short, long))
    assert 0.0 <= late <= early + 1e-12
    assert early <= 0.209 + 1e-12


def test_a_fan_that_just_balances_the_gas_leaves_no_jump() -> None:
    """At Q = R both branches agree (limit of the balance)."""
    changes = 3600 * 0.01 / 100.0
    just_above = oxygen_in_flow(100.0, 0.01, changes * (1 + 1e-9), 5000.0)
    assert just_above == pytest.approx(0.209 * math.exp(-0.5), rel=1e-6)


@pytest.mark.parametrize("volume", [0.0, -1.0, math.nan, math.inf])
def test_a_room_without_air_is_refused(volume: float) -> None:
    with pytest.raises(PhysicsError):
        oxygen_after_release(volume, 1.0)
