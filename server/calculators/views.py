"""What the calculator pages show, as typed views."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from sqlmodel import Session

from server.calculators import forms
from server.cautions import service as cautions
from server.errors import NotFound
from server.physics.errors import PhysicsError
from server.physics.thermal.asking import Calculator, Input
from server.physics.thermal.calculators import calculator, calculators
from server.physics.thermal.evidence import TAGS, Evidence, all_evidence, evidence_counts
from server.units import unit_named

TORQUE = ("preload", "screw", "clamping")
"""In the key of every calculator by whose result somebody might tighten a screw."""


@dataclass(frozen=True)
class IndexView:
    """All calculators by heading."""

    groups: Mapping[str, Sequence[Calculator]]


def index() -> IndexView:
    """The list."""
    groups: dict[str, list[Calculator]] = {}
    for one in calculators():
        groups.setdefault(one.group, []).append(one)
    return IndexView(groups)


@dataclass(frozen=True)
class FieldView:
    """One field of the form."""

    asked: Input
    value: str
    unit: str

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """The legal values of a choice, as a list wants them."""
        return tuple((value, value) for value in self.asked.choices)


@dataclass(frozen=True)
class Answer:
    """One line of the result."""

    label: str
    value: str
    hint: str


@dataclass(frozen=True)
class CalculatorView:
    """One calculator with its answer, or with what to mend."""

    calculator: Calculator
    fields: tuple[FieldView, ...]
    answers: tuple[Answer, ...]
    faults: Mapping[str, str]
    refusal: str
    cards: Sequence[object]

    @property
    def torque(self) -> bool:
        """True where the maker's value has to be read first."""
        return any(word in self.calculator.key for word in TORQUE)


def show(session: Session, key: str, typed: Mapping[str, str]) -> CalculatorView:
    """The page at an address, worked out for what was typed."""
    try:
        chosen = calculator(key)
    except KeyError:
        raise NotFound("There is no such calculator.") from None
    given = forms.texts(chosen, typed)
    values, faults = forms.read(chosen, given)
    answers: tuple[Answer, ...] = ()
    refusal = ""
    if not faults:
        try:
            with np.errstate(over="raise", divide="raise", invalid="raise"):
                answers = tuple(
                    Answer(out.label, forms.shown(out), out.hint) for out in chosen.answer(values)
                )
        except (PhysicsError, TypeError) as problem:
            faults, refusal = _blamed(chosen, str(problem))
        except ArithmeticError:
            refusal = "These numbers are too large or too small to be worked out."
    return CalculatorView(
        calculator=chosen,
        fields=tuple(FieldView(asked, given[asked.name], _sign(asked)) for asked in chosen.inputs),
        answers=answers,
        faults=faults,
        refusal=refusal,
        cards=cautions.for_codes(session, chosen.cautions),
    )


def _blamed(chosen: Calculator, message: str) -> tuple[dict[str, str], str]:
    """The refusal at the field it names, or as a sentence of its own."""
    for asked in chosen.inputs:
        if message.startswith(asked.name):
            return {asked.name: asked.label + message.removeprefix(asked.name)}, ""
    return {}, message


def _sign(asked: Input) -> str:
    unit = forms.unit_of(asked)
    return unit_named(unit).shown if unit else ""


@dataclass(frozen=True)
class EvidenceView:
    """Published values beside the computed ones, with how many there are of each tag and each mechanism.

    An empty `mechanism` means all of them.
    """

    rows: Sequence[Evidence]
    counts: Mapping[str, int]
    mechanisms: Mapping[str, int]
    tag: str
    mechanism: str
    total: int
    outside: int


def evidence(tag: str, mechanism: str | None) -> EvidenceView:
    """The rows of one tag and one mechanism; an unknown or empty choice means all, none at all the first."""
    every = all_evidence()
    mechanisms = Counter(row.mechanism for row in every)
    if mechanism is None and not tag:
        mechanism = next(iter(mechanisms))
    tag, mechanism = (
        (tag if tag in TAGS else ""),
        (mechanism if mechanism and mechanism in mechanisms else ""),
    )
    rows = [row for row in every if tag in ("", row.tag) and mechanism in ("", row.mechanism)]
    outside = sum(not row.holds for row in every)
    return EvidenceView(rows, evidence_counts(), mechanisms, tag, mechanism, len(every), outside)
