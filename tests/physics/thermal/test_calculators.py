"""Every calculator asks for what its function takes, begins with an answer, and says where it comes from."""

import inspect
import re

import pytest

from server.physics.errors import PhysicsError
from server.physics.statistics import Band
from server.physics.thermal.asking import Calculator
from server.physics.thermal.calculators import calculator, calculators
from server.units import SUFFIXES

ALL = [pytest.param(one, id=one.key) for one in calculators()]


def begun(one: Calculator) -> dict[str, object]:
    return {asked.name: asked.start for asked in one.inputs}


def refused(one: Calculator, values: dict[str, object]) -> str | None:
    try:
        one.answer(values)
    except PhysicsError as refusal:
        return str(refusal)
    return None


@pytest.mark.parametrize("one", ALL)
def test_a_calculator_begins_with_an_answer(one: Calculator) -> None:
    answers = one.answer(begun(one))
    assert answers
    for answer in answers:
        assert answer.label
        assert answer.hint
        assert answer.suffix in ("", *SUFFIXES)
        assert isinstance(answer.value, float | Band | bool | str | tuple)


@pytest.mark.parametrize("one", ALL)
def test_a_calculator_asks_for_everything_its_function_needs(one: Calculator) -> None:
    parameters = inspect.signature(one.function).parameters
    needed = {name for name, p in parameters.items() if p.default is p.empty}
    assert needed <= set(begun(one))
    assert set(one.start) <= set(parameters)
    assert set(one.choices) <= set(begun(one))
    for asked in one.inputs:
        assert asked.start is not inspect.Parameter.empty, asked.name
        assert asked.hint or asked.choices
        assert "`" not in asked.hint
        assert asked.suffix in ("", *SUFFIXES)
        if asked.kind == "choice":
            assert asked.start in asked.choices
        if asked.kind == "number":
            assert isinstance(asked.start, float), asked.name


@pytest.mark.parametrize("one", ALL)
def test_a_calculator_shows_formula_or_words_source_and_known_cards(one: Calculator) -> None:
    parts = one.told
    assert parts.summary.endswith(".")
    assert parts.formulas or parts.explanation
    assert parts.references
    assert "`" not in parts.references
    assert all(re.fullmatch(r"S(0[1-9]|1\d|20)", card) for card in one.cautions)


@pytest.mark.parametrize("one", ALL)
def test_whatever_is_chosen_gives_an_answer_or_a_sentence(one: Calculator) -> None:
    for name, choices in one.choices.items():
        for choice in choices:
            refusal = refused(one, {**begun(one), name: choice})
            assert refusal is None or refusal.endswith(".")


@pytest.mark.parametrize("one", ALL)
def test_a_number_that_cannot_be_is_refused_by_its_name(one: Calculator) -> None:
    for asked in one.inputs:
        if asked.kind != "number":
            continue
        with pytest.raises(PhysicsError):
            one.answer({**begun(one), asked.name: float("nan")})


@pytest.mark.parametrize(
    ("key", "card"),
    [("window", "S04"), ("disc-spring", "S10"), ("current-lead", "S09"), ("lag-length", "S11")],
)
def test_what_can_hurt_brings_its_card(key: str, card: str) -> None:
    assert card in calculator(key).cautions


@pytest.mark.parametrize("key", ["preload", "screw-check", "window-thickness", "window", "disc-spring"])
def test_results_somebody_could_be_hurt_by_say_that_they_are_no_approval(key: str) -> None:
    notes = calculator(key).told.notes
    assert "no approval" in notes
    assert "local" in notes


@pytest.mark.parametrize("key", ["preload", "screw-check"])
def test_torque_names_the_makers_value_first(key: str) -> None:
    assert calculator(key).told.notes.startswith("The maker's torque and the standing order come first.")


def test_no_two_calculators_share_an_address() -> None:
    assert len({one.key for one in calculators()}) == len(calculators())


def test_an_address_nobody_has_is_refused() -> None:
    with pytest.raises(KeyError):
        calculator("horoscope")
