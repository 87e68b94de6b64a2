"""Every calculator has a page that works with what it begins with, and refuses what it cannot read."""

import pytest
from fastapi.testclient import TestClient

from server.calculators import forms, views
from server.physics.statistics import Band
from server.physics.thermal.asking import Calculator, Output
from server.physics.thermal.calculators import calculators

ALL = [pytest.param(one, id=one.key) for one in calculators()]


@pytest.mark.parametrize("one", ALL)
def test_what_a_field_begins_with_reads_back_as_the_same_argument(one: Calculator) -> None:
    values, faults = forms.read(one, forms.texts(one, {}))
    assert faults == {}
    for asked in one.inputs:
        if asked.kind in ("number", "whole", "yes-no") and asked.name in values:
            assert values[asked.name] == pytest.approx(asked.start, rel=1e-12)


@pytest.mark.parametrize("one", ALL)
def test_every_page_answers_with_its_formula_and_its_source(
    one: Calculator, member_client: TestClient
) -> None:
    answer = member_client.get(f"/calculators/{one.key}")
    assert answer.status_code == 200, answer.text
    assert "Result" in answer.text
    assert "Source:" in answer.text


def test_a_result_can_be_passed_on_by_its_address(member_client: TestClient) -> None:
    """0.5 N·m on a 3 mm screw at 0.2 is 833 N: F = T/(K d), reference case 5.9, recomputed."""
    address = "/calculators/preload?torque_N_m=0.5 N·m&diameter_m=3 mm&nut_factor=0.2"
    page = member_client.get(address).text
    assert ">833.3 N<" in page
    assert "no approval" in page


def test_what_cannot_be_read_is_told_at_its_field(member_client: TestClient) -> None:
    answer = member_client.get("/calculators/preload?torque_N_m=much&diameter_m=3 mm&nut_factor=0.2")
    assert answer.status_code == 422
    assert 'href="#f-torque_N_m"' in answer.text


@pytest.mark.parametrize("typed", ["-3 mm", "0 mm"])
def test_what_physics_refuses_is_a_sentence_and_no_number(member_client: TestClient, typed: str) -> None:
    answer = member_client.get(f"/calculators/preload?torque_N_m=0.5 N·m&diameter_m={typed}&nut_factor=0.2")
    assert answer.status_code == 422
    assert "Result" not in answer.text


@pytest.mark.parametrize(
    ("key", "name", "text"),
    [
        ("disc-spring", "outer_m", "1e300 m"),
        ("disc-spring", "free_height_m", "1e200 m"),
        ("optimum-lead", "current_A", "1e-300 A"),
        ("current-lead", "length_over_area_per_m", "1e300 1/m"),
        ("disc-view", "r2_m", "1e300 m"),
    ],
)
def test_what_no_number_can_hold_is_a_sentence(
    key: str, name: str, text: str, member_client: TestClient
) -> None:
    answer = member_client.get(f"/calculators/{key}", params={name: text})
    assert answer.status_code == 422
    assert "Result" not in answer.text


def test_an_address_without_a_calculator_is_not_found(member_client: TestClient) -> None:
    assert member_client.get("/calculators/perpetual-motion").status_code == 404


def test_nobody_unknown_sees_a_calculator(client: TestClient) -> None:
    assert client.get("/calculators/preload").status_code in (303, 401)


@pytest.mark.parametrize(
    ("suffix", "symbol"),
    [("W_m2_K_Pa", "W/(m²·K·Pa)"), ("W_m", "W/m"), ("per_K", "1/K"), ("m", "m")],
)
def test_a_suffix_that_nobody_types_still_has_its_sign(suffix: str, symbol: str) -> None:
    assert forms.symbol(suffix) == symbol


@pytest.mark.parametrize(
    ("value", "suffix", "words"),
    [
        (True, "", "yes"),
        (("helium", "hydrogen"), "", "helium, hydrogen"),
        (2.12, "W_m2_K_Pa", "2.12 W/(m²·K·Pa)"),
    ],
)
def test_an_answer_is_told_in_words_and_units(value: object, suffix: str, words: str) -> None:
    assert forms.shown(Output("x", "X", suffix, value, "")) == words


def test_a_band_is_never_told_without_its_ends() -> None:
    assert forms.shown(Output("x", "X", "W", Band(0.001, 0.002, 0.004), "")) == "2.0 mW (1.0–4.0)"


@pytest.mark.parametrize("key", ["preload", "screw-check", "clamping", "clamping-discs"])
def test_a_torque_asks_for_the_maker_first(key: str, member_client: TestClient) -> None:
    page = member_client.get(f"/calculators/{key}").text
    assert page.index("value comes first") < page.index("Result")


def test_the_evidence_page_keeps_to_what_is_asked(member_client: TestClient) -> None:
    springs = member_client.get("/evidence?mechanism=springs").text
    assert "DIN" in springs
    assert "Diameter of No. 24" not in springs
    independent = member_client.get("/evidence?tag=independent").text
    assert 'data-label="Tag">independent' in independent
    assert 'data-label="Tag">memory' not in independent


def test_the_evidence_page_begins_with_one_mechanism_and_counts_the_others(member_client: TestClient) -> None:
    """All at once is longer than anybody reads; each mechanism is one link away, with how many it has."""
    first, every = (member_client.get(address).text for address in ("/evidence", "/evidence?mechanism="))
    assert every.count('<th scope="row">') > 2 * first.count('<th scope="row">') > 0
    view = views.evidence("", None)
    assert sum(view.mechanisms.values()) == view.total
    assert {row.mechanism for row in view.rows} == {next(iter(view.mechanisms))}
