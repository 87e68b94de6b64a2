"""No value lies outside what its class of materials can have (common practice, no source)."""

import numpy as np
import pytest

from server.physics.materials import material, materials

# Conductivity in W/(m K) that a class can have at 4, 77 and 300 K, low and high.
CONDUCTIVITY = {
    "copper": ((50, 20000), (300, 800), (300, 450)),
    "aluminium": ((20, 500), (150, 450), (180, 260)),
    "aluminium alloy": ((2, 20), (40, 180), (100, 200)),
    "copper alloy": ((0.5, 12), (15, 150), (40, 250)),
    "alloy": ((0.1, 2), (5, 25), (8, 35)),
    "steel": ((0.15, 0.5), (4, 12), (9, 20)),
    "titanium alloy": ((0.05, 0.6), (1.5, 6), (5, 10)),
    "superconductor": ((0.05, 0.5), (1, 8), (4, 15)),
    "metal": ((20, 3000), (25, 300), (30, 160)),
    "polymer": ((0.005, 0.1), (0.08, 0.35), (0.1, 0.6)),
    "polymer fibre": ((0.02, 0.2), (0.5, 3), (1, 6)),
    "composite": ((0.02, 0.15), (0.2, 1.5), (0.4, 3)),
    "foam": ((0.002, 0.02), (0.005, 0.02), (0.02, 0.06)),
    "crystal": ((20, 400), (300, 3000), (20, 60)),
    "glass": ((0.05, 0.2), (0.3, 1), (1, 2)),
}
RESISTIVITY_ohm_m = {
    "copper": (5e-12, 3e-8),
    "aluminium": (5e-13, 4e-8),
    "aluminium alloy": (5e-9, 6e-8),
    "copper alloy": (2e-8, 2e-7),
    "alloy": (3e-7, 1.5e-6),
    "steel": (4e-7, 1e-6),
    "titanium alloy": (1e-6, 2e-6),
    "superconductor": (0.0, 1e-6),
}
SPECIFIC_HEAT_300_J_kg_K = {"polymer": (700, 2000), "composite": (600, 1200)}
METAL_SPECIFIC_HEAT_300_J_kg_K = (100, 1000)
CONTRACTION_4K = {"polymer": (0.003, 0.025), "glass": (-0.0002, 0.001), "crystal": (0.0005, 0.001)}
OTHER_CONTRACTION_4K = (0.0003, 0.008)


@pytest.mark.parametrize("name", materials("conductivity"))
def test_conductivity_is_what_its_class_can_have(name: str) -> None:
    solid = material(name)
    for T_K, (low, high) in zip((4.0, 77.0, 300.0), CONDUCTIVITY[solid.kind], strict=True):
        if solid.covers(T_K, T_K):
            assert low <= solid.conductivity_W_m_K(T_K) <= high


@pytest.mark.parametrize("name", materials("resistivity"))
def test_resistivity_is_what_its_class_can_have_and_rises_with_temperature(name: str) -> None:
    solid = material(name)
    low, high = RESISTIVITY_ohm_m[solid.kind]
    resistivity = solid.resistivity_ohm_m(np.linspace(*solid.about("resistivity").covered_K, 200))
    assert low <= resistivity.min()
    assert resistivity.max() <= high
    assert (np.diff(resistivity) >= -1e-15).all()


@pytest.mark.parametrize("name", materials("specific_heat"))
def test_specific_heat_is_positive_and_what_its_class_can_have(name: str) -> None:
    solid = material(name)
    cold_K, hot_K = solid.about("specific_heat").covered_K
    assert (solid.specific_heat_J_kg_K(np.linspace(cold_K, hot_K, 200)) > 0.0).all()
    if hot_K >= 300.0:
        low, high = SPECIFIC_HEAT_300_J_kg_K.get(solid.kind, METAL_SPECIFIC_HEAT_300_J_kg_K)
        assert low <= solid.specific_heat_J_kg_K(300.0) <= high


@pytest.mark.parametrize("name", materials("contraction"))
def test_contraction_is_what_its_class_can_have_and_nothing_at_293_K(name: str) -> None:
    solid = material(name)
    cold_K = max(4.0, solid.about("contraction").covered_K[0])
    low, high = CONTRACTION_4K.get(solid.kind, OTHER_CONTRACTION_4K)
    assert low <= solid.contraction(cold_K) <= high
    assert solid.contraction(293.0) == pytest.approx(0.0, abs=5e-5)


# A metal's electrons alone carry L0 T/rho; no metal conducts much less. L0 = 2.443e-8 W ohm/K2.
# (Wiedemann-Franz; the ideal part of a pure metal falls short of it between 10 and 100 K, so half.)
@pytest.mark.parametrize(
    "name", [name for name in materials("resistivity") if name in materials("conductivity")]
)
def test_no_metal_conducts_less_than_its_electrons_do(name: str) -> None:
    solid = material(name)
    if solid.kind == "superconductor":
        return
    for T_K in (4.0, 20.0, 77.0, 300.0):
        electrons_W_m_K = 2.443e-8 * T_K / solid.resistivity_ohm_m(T_K)
        assert solid.conductivity_W_m_K(T_K) > 0.5 * electrons_W_m_K, T_K
