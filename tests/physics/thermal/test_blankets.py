"""Blankets against the published fit, recomputed, and the figures of practice."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import Unphysical
from server.physics.thermal.blankets import TORR_Pa, blanket_W_m2, keller_W_m2

temperatures_K = st.floats(4.0, 310.0)


@pytest.mark.parametrize(
    ("hot_K", "cold_K", "layers", "per_cm", "flux_W_m2"),
    [
        (300.0, 77.0, 30, 20, 0.4742),
        (300.0, 77.0, 30, 30, 0.9638),
        (300.0, 40.0, 30, 20, 0.4884),
        (77.0, 4.0, 10, 20, 0.0577),
    ],
)
def test_ideal_blankets_agree_with_the_recomputed_fit(
    hot_K: float, cold_K: float, layers: int, per_cm: float, flux_W_m2: float
) -> None:
    # Keller et al. 1974, coefficients as quoted, recomputed without gas.
    assert keller_W_m2(cold_K, hot_K, layers, per_cm * 100.0) == pytest.approx(flux_W_m2, rel=1e-3)


def test_the_solid_and_the_radiative_part_are_the_recomputed_ones() -> None:
    # 300 to 77 K, 30 layers, 20 per cm: 0.2685 and 0.2057; without emissivity only the solid part is left.
    dark = keller_W_m2(77.0, 300.0, 30, 2000.0, emissivity=1e-12)
    assert dark == pytest.approx(0.2685, rel=1e-3)
    assert keller_W_m2(77.0, 300.0, 30, 2000.0) - dark == pytest.approx(0.2057, rel=1e-3)


@pytest.mark.parametrize(
    ("hot_K", "cold_K", "layers", "adds_W_m2"), [(300.0, 77.0, 30, 0.0048), (77.0, 4.0, 10, 0.011)]
)
def test_gas_in_a_blanket_adds_the_recomputed_heat(
    hot_K: float, cold_K: float, layers: int, adds_W_m2: float
) -> None:
    # At 1e-6 torr.
    with_gas = keller_W_m2(cold_K, hot_K, layers, 2000.0, pressure_Pa=1e-6 * TORR_Pa)
    assert with_gas - keller_W_m2(cold_K, hot_K, layers, 2000.0) == pytest.approx(adds_W_m2, rel=0.02)


@pytest.mark.parametrize(
    ("hot_K", "cold_K", "layers", "flux_W_m2"), [(300.0, 77.0, 30, 0.4708), (80.0, 4.2, 10, 0.02842)]
)
def test_perforated_blankets_agree_with_another_evaluation(
    hot_K: float, cold_K: float, layers: int, flux_W_m2: float
) -> None:
    # The second fit of the report as evaluated elsewhere, 15 layers per cm, emissivity 0.04; that form
    # divides its solid part by N + 1.
    ours = keller_W_m2(cold_K, hot_K, layers, 1500.0, emissivity=0.04, perforated=True)
    solid = keller_W_m2(cold_K, hot_K, layers, 1500.0, emissivity=1e-12, perforated=True)
    assert ours - solid + solid * layers / (layers + 1) == pytest.approx(flux_W_m2, rel=2e-3)


@pytest.mark.parametrize(
    ("hot_K", "cold_K", "layers", "low", "high"),
    [(300.0, 60.0, 30, 1.0, 1.5), (300.0, 77.0, 30, 1.0, 1.5), (80.0, 4.0, 10, 0.05, 0.1)],
)
def test_real_blankets_hold_the_figures_of_practice(
    hot_K: float, cold_K: float, layers: int, low: float, high: float
) -> None:
    # Design practice of large cryogenic installations, from memory.
    band = blanket_W_m2(cold_K, hot_K, layers)
    assert band.low is not None
    assert band.high is not None
    assert band.low < high
    assert band.high > low
    assert band.contains((low + high) / 2.0)


@given(temperatures_K, temperatures_K, st.floats(1.0, 60.0), st.floats(500.0, 5000.0), st.floats(1.0, 3.0))
def test_more_layers_pass_less_and_pressing_passes_more(
    cold_K: float, hot_K: float, layers: float, per_m: float, factor: float
) -> None:
    flux = keller_W_m2(cold_K, hot_K, layers, per_m)
    assert keller_W_m2(cold_K, hot_K, factor * layers, per_m) == pytest.approx(flux / factor, rel=1e-9)
    assert abs(keller_W_m2(cold_K, hot_K, layers, factor * per_m)) >= abs(flux) * (1.0 - 1e-12)
    assert flux == pytest.approx(-keller_W_m2(hot_K, cold_K, layers, per_m), rel=1e-9, abs=1e-15)


@given(temperatures_K, temperatures_K)
def test_a_band_turns_round_with_its_walls(cold_K: float, hot_K: float) -> None:
    there, back = blanket_W_m2(cold_K, hot_K, 30), blanket_W_m2(hot_K, cold_K, 30)
    assert there.middle == pytest.approx(-back.middle, abs=1e-15)
    assert (there.middle >= 0.0) == (hot_K >= cold_K)


def test_arrays_are_answered_in_kind() -> None:
    flux = keller_W_m2(np.array([77.0, 40.0]), np.array([300.0, 300.0]), 30, 2000.0)
    assert flux == pytest.approx(np.array([0.4742, 0.4884]), rel=1e-3)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_what_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match="layers must"):
        keller_W_m2(77.0, 300.0, bad, 2000.0)
    with pytest.raises(Unphysical, match="emissivity"):
        keller_W_m2(77.0, 300.0, 30, 2000.0, emissivity=bad)
    with pytest.raises(Unphysical, match="hot_K"):
        blanket_W_m2(77.0, bad, 30)
