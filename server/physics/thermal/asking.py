"""How a function becomes a page on which people work a number out.

Labels, units, hints, formula, sources and limits come from its signature and docstring; a `Calculator` adds
only the choices of a list, numbers to begin with, and which safety cards belong to the step.
"""

import dataclasses
import inspect
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from server.physics.statistics import Band
from server.physics.thermal.docstrings import Told, told

KINDS = {int: "whole", bool: "yes-no", str: "text", int | str: "text"}
LABELS = {
    "cold": "Cold side",
    "hot": "Warm side",
    "r1": "Radius that radiates",
    "r2": "Radius that receives",
    "thread name": "Thread",
    "outer": "Outer diameter",
    "inner": "Inner diameter",
    "young": "Young's modulus",
    "poisson": "Poisson's ratio",
    "rupture": "Modulus of rupture",
}


@dataclass(frozen=True)
class Input:
    """One thing a calculator asks for.

    Attributes
    ----------
    name : str
        Name of the argument.
    label : str
        What the page calls it.
    kind : str
        ``number``, ``whole``, ``yes-no``, ``choice`` or ``text``.
    suffix : str
        Unit as the end of a name; empty without one.
    choices : tuple of str
        Legal values of a choice.
    start : object
        What stands there to begin with.
    hint : str
        What its docstring says.
    """

    name: str
    label: str
    kind: str
    suffix: str
    choices: tuple[str, ...]
    start: object
    hint: str


@dataclass(frozen=True)
class Output:
    """One thing a calculator answers.

    Attributes
    ----------
    name : str
        Name of the function, or of the field of its result.
    label : str
        What the page calls it.
    suffix : str
        Unit as the end of a name; empty without one.
    value : object
        The answer: a float, a Band, a bool, a str or a tuple of them.
    hint : str
        What its docstring says.
    """

    name: str
    label: str
    suffix: str
    value: object
    hint: str


@dataclass(frozen=True)
class Calculator:
    """One page on which a number is worked out.

    Attributes
    ----------
    key : str
        Its part of the address.
    title : str
        What it answers.
    group : str
        Under which heading it stands.
    function : callable
        What works it out.
    start : mapping
        A value for each argument that has no default, to begin with.
    choices : mapping
        Legal values of arguments that are chosen from a list.
    cautions : tuple of str
        Safety cards that belong to the step, by their numbers.
    """

    key: str
    title: str
    group: str
    function: Callable[..., Any]
    start: Mapping[str, object]
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()

    @property
    def told(self) -> Told:
        """Formula, explanation, limits and sources, from the docstring."""
        return told(self.function)

    @property
    def inputs(self) -> tuple[Input, ...]:
        """What it asks for, in the order of the signature; what no field can hold keeps its default."""
        texts = {described.name: described for described in self.told.parameters}
        asked = inspect.signature(self.function).parameters.values()
        return tuple(self._input(p, texts[p.name].text, texts[p.name].suffix) for p in asked if _fits(p))

    def _input(self, parameter: inspect.Parameter, hint: str, suffix: str) -> Input:
        name = parameter.name
        choices = tuple(self.choices.get(name, ()))
        kind = "choice" if choices else KINDS.get(parameter.annotation, "number")
        start = self.start.get(name, parameter.default)
        return Input(name, label_of(name, suffix), kind, suffix, choices, start, _for_people(hint))

    def answer(self, values: Mapping[str, Any]) -> tuple[Output, ...]:
        """Work it out for a value of each input.

        Raises what the function raises: where one argument is to blame, the message begins with its name.
        """
        result = self.function(**values)
        if dataclasses.is_dataclass(result) and not isinstance(result, Band):
            return _fields(result)
        described = self.told.returns[0]
        return (Output(self.function.__name__, self.title, described.suffix, result, described.text),)


def label_of(name: str, suffix: str) -> str:
    """What a page calls an argument or a field: its name without the unit, in words."""
    bare = (name.removesuffix(f"_{suffix}") if suffix else name).replace("_", " ")
    return LABELS.get(bare, bare[:1].upper() + bare[1:])


def _for_people(hint: str) -> str:
    """A description without the names of functions: who reads a page sees the list itself."""
    without = re.sub(r"(?i),?\s*\bone of `\w+\(\)`", "", hint).replace("`", "").strip(" ,.")
    return f"{without[:1].upper()}{without[1:]}." if without else ""


def _fits(parameter: inspect.Parameter) -> bool:
    """Whether one field of a page can hold an argument: a number, a name, a yes or no."""
    annotation = parameter.annotation
    return annotation in KINDS or "float" in str(annotation) or "str" in str(annotation)


def _fields(result: Any) -> tuple[Output, ...]:
    """The fields of a result, as its class describes them."""
    found = []
    for described in told(type(result)).parameters:
        label = label_of(described.name, described.suffix)
        value = getattr(result, described.name)
        found.append(Output(described.name, label, described.suffix, value, described.text))
    return tuple(found)
