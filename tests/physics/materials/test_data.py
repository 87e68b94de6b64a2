"""Every data entry is complete: source, range, uncertainty, confidence, and pieces that stand in order."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from server.physics.materials import material, materials, sources
from server.physics.materials.forms import FORMS
from server.physics.materials.library import read_entry
from server.physics.materials.solid import PROPERTIES

ENTRIES = [*materials(), "copper-rrr-77"]
CURVE_KEYS = {"source", "confidence", "range_K", "uncertainty", "pieces", "note"}
OPTIONAL_KEYS = {"below", "above", "alternatives"}


def curves(name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    entry = read_entry(name)
    return ((property_name, entry[property_name]) for property_name in PROPERTIES if property_name in entry)


@pytest.mark.parametrize("name", ENTRIES)
def test_an_entry_says_what_it_is_and_where_every_curve_comes_from(name: str) -> None:
    entry = read_entry(name)
    assert entry["name"] == name
    assert entry["describes"]
    for property_name, curve in curves(name):
        assert curve.keys() >= CURVE_KEYS, property_name
        assert curve["confidence"] in {"A", "B", "C", "D"}
        assert curve["source"]
        assert set(curve["source"]) <= set(sources()), property_name
        assert all(piece["form"] in FORMS for piece in curve["pieces"])


@pytest.mark.parametrize("name", ENTRIES)
def test_pieces_stand_in_order_and_the_range_of_the_data_lies_within_them(name: str) -> None:
    for property_name, _ in curves(name):
        about = material(name).about(property_name)
        cold_K, hot_K = about.covered_K
        assert 1.0 <= cold_K <= about.range_K[0] < about.range_K[1] <= hot_K <= 310.0
        corners_K = material(name).corners_K(property_name)
        assert all(low_K < high_K for low_K, high_K in pairwise(corners_K))
        assert 0.0 < about.relative_uncertainty <= 4.0


@pytest.mark.parametrize("name", ENTRIES)
def test_every_value_a_curve_gives_is_a_number(name: str) -> None:
    solid = material(name)
    ask = {
        "conductivity": solid.conductivity_W_m_K,
        "resistivity": solid.resistivity_ohm_m,
        "specific_heat": solid.specific_heat_J_kg_K,
        "contraction": solid.contraction,
    }
    for property_name, _ in curves(name):
        assert np.isfinite(ask[property_name](np.linspace(*solid.about(property_name).covered_K, 500))).all()


def test_no_source_is_listed_that_nothing_uses() -> None:
    used = {key for name in ENTRIES for _, curve in curves(name) for key in curve["source"]}
    assert set(sources()) == used


def test_specific_heat_below_2_K_is_that_of_electrons_and_lattice() -> None:
    # Copper: 0.695 mJ/(mol K2) and a Debye temperature of 343 K, from memory (Kittel).
    molar_J_mol_K = 0.695e-3 * 1.5 + 12.0 * np.pi**4 / 5.0 * 8.314462618 * (1.5 / 343.0) ** 3
    assert material("copper-rrr-100").specific_heat_J_kg_K(1.5) == pytest.approx(molar_J_mol_K / 0.063546)


@pytest.mark.parametrize("T_K", [1.0, 1.6, 2.2, 3.0, 3.3])
def test_superconducting_indium_follows_the_theory_of_bardeen_rickayzen_and_tewordt(T_K: float) -> None:
    # Phys. Rev. 113 (1959) 982: ks/kn = [2 F(y) + 2 y ln(1 + exp(-y)) + y2/(1 + exp(y))] / (pi2/6) with
    # F(y) the integral of z/(1 + exp(z + y)) and y the gap over kT; gap 1.764 kTc tanh(1.74 (1/t - 1)^1/2).
    t = T_K / 3.41
    y = 1.764 * np.tanh(1.74 * np.sqrt(1.0 / t - 1.0)) / t
    f = quad(lambda z: z * np.exp(-(z + y)) / (1.0 + np.exp(-(z + y))), 0.0, 100.0)[0]
    ratio = (2 * f + 2 * y * np.log1p(np.exp(-y)) + y**2 / (1.0 + np.exp(y))) / (np.pi**2 / 6.0)
    normal_W_m_K = 840.0 * T_K / 4.0
    assert material("indium").conductivity_W_m_K(T_K) == pytest.approx(ratio * normal_W_m_K, rel=1e-3)


@pytest.mark.parametrize("ratio", [10, 20, 40, 60, 77, 200, 1000, 2000])
def test_copper_of_any_ratio_conducts_better_the_purer_it_is(ratio: int) -> None:
    purer = material(f"copper-rrr-{min(2000, ratio + 10)}")
    assert purer.conductivity_W_m_K(10.0) >= material(f"copper-rrr-{ratio}").conductivity_W_m_K(10.0)
    assert purer.resistivity_ohm_m(10.0) <= material(f"copper-rrr-{ratio}").resistivity_ohm_m(10.0)


@pytest.mark.parametrize("ratio", [50, 100, 150, 300, 500])
def test_the_equation_for_any_ratio_agrees_with_the_fits_of_listed_ones(ratio: int) -> None:
    # Hust and Lankford against the NIST fits: 0.1 to 4 %.
    T_K = np.geomspace(4.0, 300.0, 40)
    general = read_entry(f"copper-rrr-{ratio}")["conductivity"]["alternatives"][0]
    other = FORMS[general["form"]](general)(T_K)
    assert other == pytest.approx(material(f"copper-rrr-{ratio}").conductivity_W_m_K(T_K), rel=0.04)
