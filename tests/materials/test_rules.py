"""Own materials without a database."""

from dataclasses import replace

import pytest

from server.materials.rules import Own, Points, made, name_fault, points_of, uncertainty_fault

OWN = Own("our-resin", Points((2.0, 8.0), (0.02, 0.08)), "our book", 0.2, "One sample.")


def test_the_material_is_the_table_and_says_where_it_comes_from() -> None:
    solid = made(OWN)
    about = solid.about("conductivity")
    assert solid.conductivity_W_m_K(4.0) == pytest.approx(0.04)
    # k = 0.01 T, so ∫ k dT = 0.005 (T_h² − T_c²) = 0.3 W/m.
    assert solid.conductivity_integral_W_m(2.0, 8.0) == pytest.approx(0.3, rel=1e-6)
    assert (about.source, about.note, about.confidence) == ("our book", "One sample.", "own")
    assert about.relative_uncertainty == pytest.approx(0.2)
    assert about.covered_K == (2.0, 8.0)


def test_the_same_entry_makes_the_same_object_and_a_correction_another() -> None:
    assert made(OWN) is made(replace(OWN))
    assert made(replace(OWN, relative_uncertainty=0.3)) is not made(OWN)


def test_the_table_comes_back_from_the_database_as_it_went_in() -> None:
    points = replace(OWN.points, specific_heat_J_kg_K=(0.1, 6.0))
    assert points_of(points.written()) == points


@pytest.mark.parametrize("name", ["our-resin", "loom2026", "a"])
def test_a_name_of_the_laboratory_will_do(name: str) -> None:
    assert name_fault(name) is None


@pytest.mark.parametrize(
    "name",
    ["", "Our-Resin", "our resin", "-resin", "resin-", "2-resin", "a--b", "résine", "a/b", "a" * 41],
)
def test_a_name_that_does_not_fit_an_address_is_refused(name: str) -> None:
    assert "small letters" in str(name_fault(name))


@pytest.mark.parametrize("name", ["phosphor-bronze", "copper-rrr-73", "unknown", "new", "constant"])
def test_a_name_the_program_knows_is_taken(name: str) -> None:
    assert "taken" in str(name_fault(name))


@pytest.mark.parametrize("relative", [0.0, -0.1, 10.1, float("nan"), float("inf")])
def test_nothing_measured_is_without_uncertainty(relative: float) -> None:
    assert uncertainty_fault(relative)
