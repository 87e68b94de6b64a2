"""The conductivity integrals and wire loads a steward reckons with.

Integrals of copper, steel and phosphor bronze recomputed from published fits; the others common practice
from memory, with the tolerance that goes with them.
"""

import math

import pytest

from server.physics.materials import awg_diameter_m, material

# name, tolerance, W/m for 300 to 4 K, 300 to 35 K, 35 to 4 K
INTEGRALS: list[tuple[str, float, tuple[float | None, float | None, float]]] = [
    ("stainless-304", 0.01, (3030, 2970, 66)),
    ("copper-rrr-50", 0.01, (161000, 125000, 35800)),
    ("copper-rrr-100", 0.01, (194000, 133500, 60800)),
    ("phosphor-bronze", 0.01, (14700, 14400, 275)),
    ("phosphor-bronze-low", 0.01, (9500, 9200, 275)),
    ("manganin", 0.20, (4400, 4300, 102)),
    ("cupro-nickel-70-30", 0.25, (6400, 6200, 180)),
    ("beryllium-copper", 0.30, (17800, 17500, 310)),
    ("brass", 0.25, (22800, 22400, 365)),
    ("ptfe", 0.20, (68, 64, 4)),
    ("niobium-titanium", 1.00, (None, None, 25)),
]
RANGES_K = ((300.0, 4.0), (300.0, 35.0), (35.0, 4.0))


@pytest.mark.parametrize(("name", "tolerance", "row"), INTEGRALS, ids=[row[0] for row in INTEGRALS])
def test_integrals_are_those_a_steward_reckons_with(
    name: str, tolerance: float, row: tuple[float | None, ...]
) -> None:
    for (hot_K, cold_K), expected_W_m in zip(RANGES_K, row, strict=True):
        if expected_W_m is not None:
            found_W_m = material(name).conductivity_integral_W_m(cold_K, hot_K)
            assert found_W_m == pytest.approx(expected_W_m, rel=tolerance)


# 24 wires No. 36, 0.30 m from the vessel to the shield and 0.15 m on to the platform. Milliwatts at 4 K
# lagged at 35 K, and not lagged.
LOADS = [
    ("phosphor-bronze", 0.02, 0.56, 9.9),
    ("phosphor-bronze-low", 0.02, 0.56, 6.4),
    ("manganin", 0.20, 0.21, 3.0),
    ("copper-rrr-100", 0.02, 123.0, 131.0),
]


@pytest.mark.parametrize(("name", "tolerance", "lagged_mW", "unlagged_mW"), LOADS)
def test_a_loom_of_24_wires_brings_the_known_heat(
    name: str, tolerance: float, lagged_mW: float, unlagged_mW: float
) -> None:
    area_m2 = 24 * math.pi / 4.0 * awg_diameter_m(36) ** 2
    lagged_W = area_m2 * material(name).conductivity_integral_W_m(4.0, 35.0) / 0.15
    unlagged_W = area_m2 * material(name).conductivity_integral_W_m(4.0, 300.0) / 0.45
    assert lagged_W == pytest.approx(lagged_mW * 1e-3, rel=tolerance)
    assert unlagged_W == pytest.approx(unlagged_mW * 1e-3, rel=tolerance)


def test_a_lag_stops_the_heat_of_an_alloy_and_hardly_that_of_copper() -> None:
    # Common practice, no source: 97-99 % for alloys, about two thirds for copper.
    for name in ("phosphor-bronze", "manganin", "stainless-304", "brass"):
        stopped = material(name).conductivity_integral_W_m(35.0, 300.0)
        assert 0.96 < stopped / material(name).conductivity_integral_W_m(4.0, 300.0) < 0.995
    copper = material("copper-rrr-100")
    assert (
        0.6
        < copper.conductivity_integral_W_m(35.0, 300.0) / copper.conductivity_integral_W_m(4.0, 300.0)
        < 0.75
    )
