"""Heat of a current in a span, against the first integral of the lead equation."""

import pytest

from server.physics.errors import NoData, NoSteadyState
from server.physics.materials import constant_material, material
from server.physics.thermal import current_lead
from server.physics.thermal.joule import joule_heat_W, span_resistance_ohm


@pytest.mark.parametrize(
    ("name", "length_per_m", "current_A", "cold_K", "hot_K"),
    [
        ("phosphor-bronze", 0.15 / 1.27e-8, 0.010, 3.2, 32.0),
        ("phosphor-bronze", 0.30 / 1.27e-8, 0.003, 32.0, 295.0),
        ("manganin", 0.30 / 1.27e-8, 0.005, 32.0, 300.0),
        ("copper-rrr-100", 3.0e6, 1.0, 4.0, 300.0),
        ("copper-rrr-100", 1.5e5, 5.0, 4.0, 40.0),
        ("brass", 1.0e6, 0.5, 4.0, 300.0),
    ],
)
def test_both_ends_agree_with_the_first_integral(
    name: str, length_per_m: float, current_A: float, cold_K: float, hot_K: float
) -> None:
    solid = material(name)
    plain_W = solid.conductivity_integral_W_m(cold_K, hot_K) / length_per_m
    lead = current_lead(solid, length_per_m, current_A, cold_K, hot_K)
    to_hot_W, to_cold_W = joule_heat_W(solid, length_per_m, current_A, cold_K, hot_K)
    made_W = to_hot_W + to_cold_W
    assert to_cold_W == pytest.approx(lead.cold_end_W - plain_W, abs=2e-3 * made_W)
    assert to_hot_W == pytest.approx(plain_W - lead.hot_end_W, abs=2e-3 * made_W)


def test_constant_properties_give_half_to_each_end() -> None:
    # k = 400, ρ = 10 nΩ m, 1 m of 1 mm², 5 A: 0.25 W (closed form).
    assert joule_heat_W(constant_material(400.0, 1e-8), 1e6, 5.0, 4.0, 300.0) == pytest.approx((0.125, 0.125))


def test_no_current_makes_no_heat() -> None:
    assert joule_heat_W(material("manganin"), 1e7, 0.0, 4.0, 40.0) == (0.0, 0.0)


def test_a_run_that_burns_out_has_no_steady_state() -> None:
    with pytest.raises(NoSteadyState, match="overheats"):
        joule_heat_W(material("copper-rrr-100"), 3e6, 4.0, 4.0, 300.0)
    with pytest.raises(NoSteadyState):
        current_lead("copper-rrr-100", 3e6, 4.0, 4.0, 300.0)


def test_a_plastic_has_no_resistivity() -> None:
    with pytest.raises(NoData):
        joule_heat_W(material("ptfe"), 1e6, 1.0, 4.0, 40.0)


def test_resistance_between_two_temperatures_lies_between_those_at_them() -> None:
    copper = material("copper-rrr-100")
    cold, between, warm = (
        span_resistance_ohm(copper, 1e8, *ends_K) for ends_K in ((4.0, 4.0), (4.0, 293.0), (293.0, 293.0))
    )
    assert cold == pytest.approx(copper.resistivity_ohm_m(4.0) * 1e8)
    assert cold < between < warm
