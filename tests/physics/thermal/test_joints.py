"""Pressed joints against recomputed cases and the orders of magnitude of the trade."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import UnknownMaterial, Unphysical
from server.physics.thermal.joints import (
    LORENZ_W_ohm_K2,
    electronic_limit_W_K,
    joint_conductance_W_K,
    joint_fillers,
    joint_metals,
    mount_resistance_K_W,
    rough_contact_W_m2_K,
    spot_conductance_W_K,
)

fillers = st.sampled_from(joint_fillers())
metals = st.sampled_from(joint_metals())


def test_the_lorenz_number_is_that_of_free_electrons() -> None:
    from scipy.constants import e, k

    assert pytest.approx(math.pi**2 / 3.0 * (k / e) ** 2, rel=1e-5) == LORENZ_W_ohm_K2


@pytest.mark.parametrize(
    ("resistance_ohm", "temperature_K", "conductance_W_K"),
    [(1e-6, 4.2, 0.10248), (1e-7, 4.2, 1.0248), (1e-6, 1.0, 0.0244), (3e-9, 4.2, 34.2), (20e-9, 4.2, 5.12)],
)
def test_the_electronic_limit_agrees_with_the_recomputed_cases(
    resistance_ohm: float, temperature_K: float, conductance_W_K: float
) -> None:
    # Recomputed with the usual rounding 2.44e-8; joints of 3 and 20 nohm: Triqueneaux et al. 2020.
    assert electronic_limit_W_K(resistance_ohm, temperature_K) == pytest.approx(conductance_W_K, rel=2.5e-3)


@pytest.mark.parametrize(
    ("filler", "metal", "conductance_W_K"),
    [
        ("dry", "copper", 1e-2),
        ("dry", "gold", 1e-1),
        ("dry", "gold", 2e-1),
        ("dry", "aluminium", 3e-3),
        ("dry", "stainless", 3e-4),
        ("greased", "copper", 1e-1),
        ("indium", "copper", 1e-1),
    ],
)
def test_joints_have_the_order_of_magnitude_of_the_trade(
    filler: str, metal: str, conductance_W_K: float
) -> None:
    # From memory, after Ekin, Fig. 2.7: 445 N, 4.2 K, good to a factor of three.
    assert joint_conductance_W_K(filler, 445.0, 4.2, metal).contains(conductance_W_K)


def test_a_filler_gains_three_times_on_stainless_and_ten_times_on_copper() -> None:
    # Salerno, Kittel and Spivak, Cryogenics 34 (1994), abstract.
    for filler in ("greased", "indium"):
        for metal, gain in (("stainless", 3.0), ("copper", 10.0)):
            dry, filled = (joint_conductance_W_K(f, 445.0, 4.2, metal).middle for f in ("dry", filler))
            assert filled / dry == pytest.approx(gain, rel=0.01)


def test_force_counts_less_once_a_joint_is_filled() -> None:
    # The same abstract: the dependence on force is weaker than for bare contacts.
    def gain(filler: str) -> float:
        low, high = (joint_conductance_W_K(filler, F, 4.2, "copper").middle for F in (100.0, 200.0))
        return high / low

    assert gain("greased") < gain("dry") == pytest.approx(2.0, rel=0.05)


@given(fillers, metals, st.floats(1.0, 1e4), st.floats(1.0, 300.0), st.floats(1.0, 3.0))
def test_more_force_and_more_warmth_never_conduct_less(
    filler: str, metal: str, force_N: float, temperature_K: float, more: float
) -> None:
    here = joint_conductance_W_K(filler, force_N, temperature_K, metal)
    pressed = joint_conductance_W_K(filler, force_N * more, temperature_K, metal)
    warmer = joint_conductance_W_K(filler, force_N, temperature_K * more, metal)
    assert pressed.middle >= here.middle * (1.0 - 1e-12)
    assert warmer.middle >= here.middle * (1.0 - 1e-12)


@given(fillers, metals, st.floats(1.0, 1e4), st.floats(1.0, 300.0))
def test_no_joint_is_known_better_than_to_a_factor_of_three(
    filler: str, metal: str, force_N: float, temperature_K: float
) -> None:
    band = joint_conductance_W_K(filler, force_N, temperature_K, metal)
    assert band.low is not None
    assert band.high is not None
    assert band.low <= band.middle / 3.0 * (1.0 + 1e-12)
    assert band.high >= band.middle * 3.0 * (1.0 - 1e-12)


@pytest.mark.parametrize(
    ("state", "low", "high"), [("greased", 10.0, 60.0), ("dry", 100.0, 500.0), ("unknown", 10.0, 500.0)]
)
def test_mounts_at_4_K_are_what_the_trade_expects(state: str, low: float, high: float) -> None:
    # Common practice, no source.
    band = mount_resistance_K_W(state, 4.0)
    assert band.low == pytest.approx(low)
    assert band.high == pytest.approx(high)
    assert (band.best is None) == (state == "unknown")


@given(st.sampled_from(["greased", "dry", "indium"]), st.floats(1.0, 100.0), st.floats(1.0, 5.0))
def test_mounts_resist_less_as_they_warm(state: str, temperature_K: float, warmer: float) -> None:
    cold = mount_resistance_K_W(state, temperature_K)
    warm = mount_resistance_K_W(state, temperature_K * warmer)
    assert warm.middle <= cold.middle * (1.0 + 1e-12)


def test_one_spot_conducts_as_recomputed() -> None:
    # Holm: 445 N, hardness 1 GPa, 320 W/(m K), spot radius 0.376 mm.
    assert spot_conductance_W_K(445.0, 1e9, 320.0) == pytest.approx(0.241, rel=3e-3)
    # Its electrical resistance rho/2a is 0.41 µohm at 3.08e-10 ohm m (L0 T/k at 4 K): the same conductance.
    rho = LORENZ_W_ohm_K2 * 4.0 / 320.0
    assert electronic_limit_W_K(rho / (2.0 * 0.37636e-3), 4.0) == pytest.approx(0.241, rel=3e-3)


@pytest.mark.parametrize(("area_m2", "conductance_W_K"), [(1e-4, 36.5), (4e-4, 39.1)])
def test_rough_faces_hardly_care_for_their_area(area_m2: float, conductance_W_K: float) -> None:
    # Cooper, Mikic and Yovanovich, recomputed: 445 N, k 400, slope 0.1, roughness 0.8 µm, hardness 1 GPa.
    by_area = rough_contact_W_m2_K(400.0, 0.1, 0.8e-6, 445.0 / area_m2, 1e9)
    assert by_area * area_m2 == pytest.approx(conductance_W_K, rel=3e-3)


def test_the_warm_correlation_is_decades_above_a_cold_joint() -> None:
    warm = rough_contact_W_m2_K(400.0, 0.1, 0.8e-6, 445.0 / 1e-4, 1e9) * 1e-4
    assert warm > 100.0 * joint_conductance_W_K("dry", 445.0, 4.2, "copper").middle


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_numbers_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match="force_N"):
        joint_conductance_W_K("dry", bad, 4.0, "copper")
    with pytest.raises(Unphysical, match="temperature_K"):
        mount_resistance_K_W("dry", bad)
    with pytest.raises(Unphysical, match="resistance_ohm"):
        electronic_limit_W_K(bad, 4.0)


def test_fillers_and_metals_nobody_listed_are_refused() -> None:
    with pytest.raises(UnknownMaterial, match="'honey'"):
        joint_conductance_W_K("honey", 100.0, 4.0, "copper")
    with pytest.raises(UnknownMaterial, match="'wood'"):
        joint_conductance_W_K("dry", 100.0, 4.0, "wood")
    with pytest.raises(UnknownMaterial, match="'honey'"):
        mount_resistance_K_W("honey", 4.0)
