"""Materials are found by name, and answer in the kind they were asked in."""

import numpy as np
import pytest

from server.physics.errors import NoData, OutOfRange, UnknownMaterial, Unphysical
from server.physics.materials import constant_material, material, materials, table_material

NEEDED = [
    "copper-rrr-10",
    "copper-rrr-2000",
    "phosphor-bronze",
    "manganin",
    "constantan",
    "nickel-chromium",
    "stainless-304",
    "beryllium-copper",
    "brass",
    "aluminium-6061",
    "aluminium-1100",
    "cupro-nickel-70-30",
    "niobium-titanium",
    "titanium-6al-4v",
    "ptfe",
    "polyimide",
    "nylon",
    "g10-warp",
    "g10-normal",
    "sapphire",
    "fused-silica",
]


@pytest.mark.parametrize("name", NEEDED)
def test_what_a_cryostat_is_made_of_answers_from_1_to_310_K(name: str) -> None:
    assert material(name).about("conductivity").covered_K == (1.0, 310.0)
    assert np.isfinite(material(name).conductivity_W_m_K(np.linspace(1.0, 310.0, 50))).all()


@pytest.mark.parametrize("name", materials())
def test_every_listed_name_makes_a_material(name: str) -> None:
    assert material(name).name == name


def test_a_material_is_made_once_and_given_back_when_handed_in() -> None:
    steel = material("stainless-304")
    assert material("stainless-304") is steel
    assert material(steel) is steel


@pytest.mark.parametrize("name", ["unobtainium", "copper-rrr-9", "copper-rrr-2001", "sources", "../sources"])
def test_a_name_nothing_has_is_refused(name: str) -> None:
    with pytest.raises(UnknownMaterial):
        material(name)


def test_a_float_is_answered_with_a_float_and_an_array_with_an_array() -> None:
    steel = material("stainless-304")
    assert isinstance(steel.conductivity_W_m_K(4.2), float)
    grid = np.array([[4.0, 20.0, 77.0], [10.0, 40.0, 300.0]])
    assert steel.conductivity_W_m_K(grid).shape == (2, 3)
    assert np.shape(steel.conductivity_integral_W_m(4.0, grid)) == (2, 3)


@pytest.mark.parametrize("temperature_K", [0.5, 310.5, -4.0])
def test_outside_what_is_covered_it_refuses(temperature_K: float) -> None:
    with pytest.raises(OutOfRange, match="stainless-304 is known from 1 to 310 K"):
        material("stainless-304").conductivity_W_m_K(temperature_K)


@pytest.mark.parametrize("temperature_K", [float("nan"), float("inf")])
def test_what_is_not_a_number_is_refused(temperature_K: float) -> None:
    with pytest.raises(Unphysical):
        material("stainless-304").conductivity_integral_W_m(4.0, temperature_K)


def test_a_property_nobody_published_is_refused() -> None:
    with pytest.raises(NoData, match="resistivity of ptfe"):
        material("ptfe").resistivity_ohm_m(4.0)


def test_a_solver_may_step_anywhere_and_the_answer_is_judged_after() -> None:
    steel = material("stainless-304")
    assert np.isfinite(steel.integral_anywhere_W_m(-5.0, 900.0))
    assert not steel.covers(0.5, 300.0)
    assert steel.covers(300.0, 3.0)


def test_a_constant_material_is_constant() -> None:
    bar = constant_material(400.0, 1e-8)
    assert bar.conductivity_integral_W_m(4.0, 300.0) == pytest.approx(118400.0, rel=1e-12)
    assert bar.resistivity_ohm_m(77.0) == 1e-8


def test_a_table_of_a_laboratory_becomes_a_material() -> None:
    own = table_material(
        "our resin", [2.0, 8.0], [0.02, 0.08], source="measured here", relative_uncertainty=0.2
    )
    assert own.conductivity_W_m_K(4.0) == pytest.approx(0.04)
    assert own.about("conductivity").confidence == "own"
    with pytest.raises(OutOfRange):
        own.conductivity_W_m_K(1.0)


@pytest.mark.parametrize(
    ("T_K", "values"),
    [([4.0], [1.0]), ([4.0, 4.0], [1.0, 2.0]), ([4.0, 8.0], [1.0, -2.0]), ([4.0, 8.0], [1.0, float("nan")])],
)
def test_a_table_no_solid_could_have_is_refused(T_K: list[float], values: list[float]) -> None:
    with pytest.raises(Unphysical):
        table_material("our resin", T_K, values, source="measured here", relative_uncertainty=0.2)


@pytest.mark.parametrize(
    ("source", "relative_uncertainty"), [(" ", 0.2), ("measured here", -0.1), ("x", 11.0)]
)
def test_a_table_without_source_or_sane_uncertainty_is_refused(
    source: str, relative_uncertainty: float
) -> None:
    with pytest.raises(Unphysical):
        table_material(
            "our resin", [2.0, 8.0], [0.02, 0.08], source=source, relative_uncertainty=relative_uncertainty
        )


def test_a_table_may_bring_resistivity_and_specific_heat() -> None:
    own = table_material(
        "our alloy",
        [2.0, 8.0],
        [0.2, 0.8],
        source="measured here",
        relative_uncertainty=0.2,
        resistivity_ohm_m=[1e-7, 1e-7],
        specific_heat_J_kg_K=[0.1, 0.4],
    )
    assert own.resistivity_ohm_m(5.0) == pytest.approx(1e-7)
    assert own.enthalpy_J_kg(2.0, 8.0) == pytest.approx(1.5)


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_constant_no_solid_could_have_is_refused(value: float) -> None:
    with pytest.raises(Unphysical):
        constant_material(value)
    with pytest.raises(Unphysical):
        constant_material(400.0, value)
