"""Docstrings taken apart."""

import pytest

from server.physics.thermal.docstrings import described, suffix_of, told
from server.physics.thermal.gas import free_molecular_conductance_W_m2_K_Pa
from server.physics.thermal.windows import WindowHeat, window_heat


def test_a_function_tells_its_formula_arguments_limits_and_sources() -> None:
    parts = told(free_molecular_conductance_W_m2_K_Pa)
    assert (
        parts.summary == "Heat that free molecules carry, per area, kelvin and pascal, with accommodation 1."
    )
    assert parts.formulas == ("G = (γ + 1)/(γ - 1) √(R/(8 π M T))",)
    assert [p.name for p in parts.parameters] == ["gas", "gauge_K"]
    assert [p.suffix for p in parts.parameters] == ["", "K"]
    assert parts.returns[0].suffix == "W_m2_K_Pa"
    assert "1 mbar is 100 Pa" in parts.notes
    assert "Corruccini" in parts.references
    assert ".. math" not in parts.explanation


def test_a_result_tells_its_fields() -> None:
    assert [(p.name, p.suffix) for p in told(WindowHeat).parameters] == [
        ("passed_W", "W"),
        ("absorbed_W", "W"),
        ("emitted_W", "W"),
    ]


def test_cautions_stand_in_the_notes() -> None:
    assert "no approval" in told(window_heat).notes


def test_names_that_share_an_entry_share_its_text() -> None:
    both = described(["cold_K, hot_K : float", "    The two ends [K]."])
    assert [(p.name, p.text, p.suffix) for p in both] == [
        ("cold_K", "The two ends.", "K"),
        ("hot_K", "The two ends.", "K"),
    ]


@pytest.mark.parametrize(
    ("unit", "suffix"),
    [
        ("W/(m² K)", "W_m2_K"),
        ("W/(m² K Pa)", "W_m2_K_Pa"),
        ("N m", "N_m"),
        ("N/m", "N_per_m"),
        ("1/m", "per_m"),
        ("Ω m", "ohm_m"),
        ("1", ""),
        ("J/(kg K)", "J_kg_K"),
    ],
)
def test_printed_units_become_suffixes(unit: str, suffix: str) -> None:
    assert suffix_of(unit) == suffix


def test_what_has_no_docstring_is_refused() -> None:
    with pytest.raises(ValueError, match="no docstring"):
        told(lambda: 1)
