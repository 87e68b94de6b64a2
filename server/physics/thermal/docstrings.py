"""What the docstring of a public function says, taken apart so that a page can be made of it.

The docstrings follow numpydoc, with the formula as ``.. math::`` and every unit in square brackets.
"""

import inspect
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from server.physics.thermal.formulas import readable

SIGNS = str.maketrans({"²": "2", "³": "3", "⁴": "4", "Ω": "ohm"})
MATH = ".. math::"


@dataclass(frozen=True)
class Described:
    """One argument or result as its docstring tells it.

    Attributes
    ----------
    name : str
        Its name; for a result its type.
    text : str
        What it is, in one paragraph, without the unit.
    suffix : str
        The unit as the end of a name: ``"W_m_K"``; empty for a ratio or for something else than a number.
    is_number : bool
        Whether a unit was given at all.
    """

    name: str
    text: str
    suffix: str
    is_number: bool


@dataclass(frozen=True)
class Told:
    """A docstring, taken apart.

    Attributes
    ----------
    summary : str
        The first line.
    explanation : str
        What stands between it and the sections, without the formula.
    formulas : tuple of str
        Every formula, in plain signs.
    parameters, returns : tuple of Described
        Arguments and results.
    notes, references : str
        Limits and cautions; sources.
    """

    summary: str
    explanation: str
    formulas: tuple[str, ...]
    parameters: tuple[Described, ...]
    returns: tuple[Described, ...]
    notes: str
    references: str


def told(thing: Callable[..., Any]) -> Told:
    """Take the docstring of a function or class apart.

    Parameters
    ----------
    thing : callable
        A function or class with a docstring in numpydoc's form.

    Returns
    -------
    Told
        Its parts; sections that are not there are empty.

    Raises
    ------
    ValueError
        When it has no docstring.

    Examples
    --------
    >>> from server.physics.thermal.view import disc_view_factor
    >>> told(disc_view_factor).parameters[0].suffix
    'm'
    """
    if not thing.__doc__:
        raise ValueError(f"{thing.__name__} has no docstring.")
    parts = sections(thing.__doc__)
    prose, formulas = _without_formulas(parts[""][1:])
    return Told(
        summary=parts[""][0],
        explanation=_paragraphs(prose),
        formulas=tuple(formulas),
        parameters=described(parts.get("Parameters", parts.get("Attributes", []))),
        returns=described(parts.get("Returns", [])),
        notes=_paragraphs(parts.get("Notes", [])),
        references=_paragraphs(parts.get("References", [])),
    )


def sections(docstring: str) -> dict[str, list[str]]:
    """The lines of each section by its heading, what comes before the first under an empty name."""
    lines = inspect.cleandoc(docstring).splitlines()
    found: dict[str, list[str]] = {"": []}
    name = ""
    for line, following in zip(lines, [*lines[1:], ""], strict=True):
        if line and following and set(following) == {"-"}:
            name = line
            found[name] = []
        elif not line or set(line) != {"-"}:
            found[name].append(line)
    return found


def described(lines: Sequence[str]) -> tuple[Described, ...]:
    """The entries of a section: ``name, other : type`` and what is indented under it."""
    found: list[tuple[list[str], list[str]]] = []
    for line in lines:
        if line and not line.startswith(" "):
            found.append(([name.strip() for name in line.partition(" : ")[0].split(",")], []))
        elif line and found:
            found[-1][1].append(line.strip())
    return tuple(_described(name, " ".join(text)) for names, text in found for name in names)


def _described(name: str, text: str) -> Described:
    units = re.findall(r"\[([^\[\]]+)\]", text)
    plain = re.sub(r"\s*\[[^\[\]]+\]", "", text)
    return Described(name, plain, suffix_of(units[-1]) if units else "", bool(units))


def suffix_of(unit: str) -> str:
    """The name suffix of a printed unit: ``W/(m² K)`` is ``W_m2_K``, ``1/m`` is ``per_m``, ``1`` is empty."""
    above, _, below = unit.translate(SIGNS).replace("(", "").replace(")", "").partition("/")
    above, below = "_".join(above.split()), "_".join(below.split())
    if above == "1":
        return f"per_{below}" if below else ""
    per = "_per_" if (above, below) == ("N", "m") else "_"
    return f"{above}{per}{below}" if below else above


def _without_formulas(lines: Sequence[str]) -> tuple[list[str], list[str]]:
    """Prose, and the formulas that stood in it."""
    prose: list[str] = []
    formulas: list[str] = []
    inside = False
    for line in lines:
        if line.startswith(MATH):
            inside = True
            formulas.append(line.removeprefix(MATH).strip())
        elif inside and line.startswith(" "):
            formulas[-1] += " " + line.strip()
        else:
            inside = False
            prose.append(line)
    return prose, [readable(formula) for formula in formulas]


def _paragraphs(lines: Sequence[str]) -> str:
    """Lines joined to paragraphs, one empty line between two."""
    blocks = re.split(r"\n\s*\n", "\n".join(lines).strip())
    return "\n\n".join(" ".join(block.split()) for block in blocks)
