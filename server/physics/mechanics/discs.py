"""Disc springs by the names of their standard."""

import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files

from server.physics.errors import UnknownMaterial
from server.physics.mechanics.springs import DiscSpring


def disc_sizes() -> tuple[str, ...]:
    """The sizes `disc_of_size` knows.

    Returns
    -------
    tuple of str
        Series and outer diameter in millimetres.

    Examples
    --------
    >>> disc_sizes()[0]
    'A8'
    """
    return tuple(_data())


def disc_of_size(name: str) -> DiscSpring:
    """A disc spring by its standard name, in spring steel.

    Parameters
    ----------
    name : str
        One of `disc_sizes()`.

    Returns
    -------
    DiscSpring
        With the modulus of steel; another metal has its own.

    Raises
    ------
    UnknownMaterial
        When there is no such size here.

    Examples
    --------
    >>> disc_of_size("A8").flat_N
    268.9

    References
    ----------
    DIN EN 16983 (formerly DIN 2093), series A, B and C; small sizes from memory.
    """
    if name not in _data():
        raise UnknownMaterial(f"There is no disc spring of size '{name}' here.")
    outer_mm, inner_mm, thickness_mm, height_mm = _data()[name]
    return DiscSpring(outer_mm * 1e-3, inner_mm * 1e-3, thickness_mm * 1e-3, height_mm * 1e-3)


@cache
def _data() -> Mapping[str, Sequence[float]]:
    path = files("server.physics.mechanics") / "data" / "discs.json"
    found: Mapping[str, Sequence[float]] = json.loads(path.read_text("utf-8"))["discs"]
    return found
