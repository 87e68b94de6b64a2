"""The list of calculators: which function answers what, where its lists come from, what it begins with.

The list is data: a public function by the face it stands on (``thermal.hole_W``), and for every argument that
is chosen the public function that names the choices, with what it is asked.
"""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from server.physics.thermal.asking import Calculator
from server.physics.thermal.faces import public_function


@cache
def calculators() -> tuple[Calculator, ...]:
    """Every calculator, in the order of the page.

    Returns
    -------
    tuple of Calculator
        Those of one heading stand together.

    Examples
    --------
    >>> calculators()[0].key
    'wire-gauge'
    """
    path = files("server.physics.thermal") / "data" / "calculators.json"
    return tuple(_read(entry) for entry in json.loads(path.read_text("utf-8")))


def calculator(key: str) -> Calculator:
    """The calculator at an address.

    Parameters
    ----------
    key : str
        Its part of the address.

    Returns
    -------
    Calculator
        The one.

    Raises
    ------
    KeyError
        When there is none.

    Examples
    --------
    >>> calculator("preload").function.__name__
    'preload_N'
    """
    return {one.key: one for one in calculators()}[key]


def _read(entry: Mapping[str, Any]) -> Calculator:
    choices = {
        name: tuple(public_function(lister)(*asked))
        for name, (lister, *asked) in entry.get("choices", {}).items()
    }
    return Calculator(
        entry["key"],
        entry["title"],
        entry["group"],
        public_function(entry["function"]),
        entry["start"],
        choices,
        tuple(entry.get("cautions", ())),
    )
