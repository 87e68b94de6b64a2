"""The formulas of docstrings in signs that any page, terminal or printout shows.

They are written in a small part of LaTeX: fractions, roots, Greek letters, powers and indices.
"""

import re
from collections.abc import Callable, Mapping

WORDS = {
    "alpha": "α",
    "gamma": "γ",
    "delta": "δ",
    "Delta": "Δ",
    "theta": "θ",
    "eta": "η",
    "lambda": "λ",
    "mu": "µ",
    "pi": "π",
    "rho": "ρ",
    "sigma": "σ",
    "tau": "τ",
    "infty": "∞",
    "le": "≤",
    "ge": "≥",
    "mp": "∓",
    "pm": "±",
    "cdot": "·",
    "quad": "   ",
    "ln": "ln ",
    "cosh": "cosh",
    "min": "min",
}
RAISED = str.maketrans("0123456789+-n", "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻ⁿ")
PIECE = re.compile(r"\\[a-zA-Z]+|\\.|[{}^_]|[^\\{}^_]+")


def readable(formula: str) -> str:
    r"""A formula in plain signs.

    Parameters
    ----------
    formula : str
        In the part of LaTeX the docstrings use.

    Returns
    -------
    str
        The same in one line: ``q = σ T⁴``.

    Raises
    ------
    ValueError
        When it uses a word that is not known here, or its braces do not match.

    Examples
    --------
    >>> readable(r"q = \sigma T^4")
    'q = σ T⁴'
    >>> readable(r"K = \frac{\pi d^2}{4 L} k")
    'K = (π d²)/(4 L) k'
    """
    pieces = PIECE.findall(formula.replace(r"\left", "").replace(r"\right", ""))
    text, rest = _read(pieces)
    if rest:
        raise ValueError(f"The braces of '{formula}' do not match.")
    return re.sub(r" {2,}", lambda gap: "   " if len(gap[0]) > 2 else " ", text).strip()


def _read(pieces: list[str], *, in_braces: bool = False) -> tuple[str, list[str]]:
    """Read until the pieces or the braces end; what is read, and what is left."""
    text = ""
    while pieces:
        piece, pieces = pieces[0], pieces[1:]
        if piece == "}":
            if not in_braces:
                return text, [piece, *pieces]
            return text, pieces
        part, pieces = _part(piece, pieces)
        text += part
    if in_braces:
        raise ValueError("A brace is not closed.")
    return text, []


def _part(piece: str, pieces: list[str]) -> tuple[str, list[str]]:
    """One piece and its arguments in plain signs, and what follows them."""
    if piece in COMMANDS:
        return COMMANDS[piece](pieces)
    if piece.startswith("\\") and len(piece) > 2:
        return _word(piece[1:]), pieces
    return (" " if piece.startswith("\\") else piece), pieces


def _fraction(pieces: list[str]) -> tuple[str, list[str]]:
    above, pieces = _argument(pieces)
    below, pieces = _argument(pieces)
    return f"{_bracketed(above)}/{_bracketed(below)}", pieces


def _root(pieces: list[str]) -> tuple[str, list[str]]:
    under, pieces = _argument(pieces)
    return f"√({under.strip()})", pieces


def _integral(pieces: list[str]) -> tuple[str, list[str]]:
    """An integral with both limits, the lower first."""
    low, pieces = _argument(pieces[1:])
    high, pieces = _argument(pieces[1:])
    return f"∫[{low} → {high}]", pieces


def _power(pieces: list[str]) -> tuple[str, list[str]]:
    argument, pieces = _argument(pieces)
    plain = re.fullmatch(r"[0-9+\-n]+", argument)
    return (argument.translate(RAISED) if plain else f"^{_bracketed(argument)}"), pieces


def _index(pieces: list[str]) -> tuple[str, list[str]]:
    argument, pieces = _argument(pieces)
    return f"_{_bracketed(argument)}" if not argument.isalnum() else f"_{argument}", pieces


def _argument(pieces: list[str]) -> tuple[str, list[str]]:
    """What a command takes: a group in braces, or the next sign."""
    first, rest = pieces[0], pieces[1:]
    if first == "{":
        return _read(rest, in_braces=True)
    if first.startswith("\\"):
        return _part(first, rest)
    return first[0], [first[1:], *rest] if first[1:] else rest


def _word(word: str) -> str:
    if word not in WORDS:
        raise ValueError(f"No plain sign is known for '{word}'.")
    return WORDS[word]


def _bracketed(text: str) -> str:
    """Brackets round what is more than one sign or number."""
    text = text.strip()
    single = re.fullmatch(r"([0-9.]+|[A-Za-zΑ-ω](_\w+)?)[⁰¹²³⁴⁵⁶⁷⁸⁹]*", text)
    return text if single else f"({text})"


COMMANDS: Mapping[str, Callable[[list[str]], tuple[str, list[str]]]] = {
    r"\frac": _fraction,
    r"\sqrt": _root,
    r"\int": _integral,
    "^": _power,
    "_": _index,
    "{": lambda pieces: _read(pieces, in_braces=True),
    r"\text": _argument,
    r"\mathrm": _argument,
}
