"""Coefficients that have been passed on wrongly in public: ours are the right ones, and it would show.

Each wrong transcription was seen in a public file; the right numbers are those of the NIST database.
"""

from typing import Any

import numpy as np
import pytest

from server.physics.errors import NoData
from server.physics.materials import material
from server.physics.materials.library import read_entry
from tests.reference.materials import PUBLISHED

Change = dict[int, float]

WRONG: list[tuple[str, str, str, Change]] = [
    ("6061 with a = 0.07981", "aluminium-6061", "conductivity", {0: 0.07981}),
    ("6061 with a ninth coefficient of its specific heat", "aluminium-6061", "conductivity", {8: 2.96344}),
    ("brass with two of polyimide's", "brass", "conductivity", {7: -0.27133, 8: -0.0038151}),
    ("titanium with c = -30789.0064", "titanium-6al-4v", "conductivity", {2: -30789.0064}),
    ("laminate with c = -26.088", "g10-normal", "conductivity", {2: -26.088}),
    ("304 with e in place of h", "stainless-304", "specific_heat", {7: 274.0328}),
    ("6061 with e in place of h", "aluminium-6061", "specific_heat", {7: 1162.27}),
]


def fit_of(name: str, property_name: str) -> dict[str, Any]:
    pieces = read_entry(name)[property_name]["pieces"]
    fit: dict[str, Any] = next(piece for piece in pieces if piece["form"] == "log-polynomial")
    return fit


def worst_miss(name: str, property_name: str, coefficients: list[float], fit: dict[str, Any]) -> float:
    """The largest deviation from the published values in the fit's range, in units of their tolerance.

    Taken in the logarithm, because a wrong coefficient may well overflow.
    """
    polynomial = np.polynomial.Polynomial(coefficients)
    misses = [
        abs(float(polynomial(np.log10(record["T_K"]))) - np.log10(record["published"])) / record["tolerance"]
        for record in PUBLISHED
        if (record["material"], record["property"], record["tag"]) == (name, property_name, "recomputed")
        and fit["from_K"] <= record["T_K"] <= fit["to_K"]
    ]
    return float(max(misses) * np.log(10.0))


@pytest.mark.parametrize(("what", "name", "property_name", "change"), WRONG, ids=[row[0] for row in WRONG])
def test_a_wrong_transcription_misses_the_published_values_and_ours_does_not(
    what: str, name: str, property_name: str, change: Change
) -> None:
    fit = fit_of(name, property_name)
    wrong = [change.get(place, number) for place, number in enumerate(fit["coefficients"])]
    assert worst_miss(name, property_name, fit["coefficients"], fit) <= 1.0
    assert worst_miss(name, property_name, wrong, fit) > 2.0, what


def test_the_specific_heat_of_grease_is_not_taken_for_its_conductivity() -> None:
    grease = material("thermal-grease")
    assert grease.specific_heat_J_kg_K(4.0) == pytest.approx(2.031, rel=1e-3)
    with pytest.raises(NoData):
        grease.conductivity_W_m_K(4.0)


def test_the_range_of_316_is_not_that_of_aramid() -> None:
    assert material("stainless-316").about("conductivity").range_K == (4.0, 300.0)
