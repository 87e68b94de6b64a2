"""Published values beside what this program computes for them, with the source of each.

Tags say how much an agreement is worth. ``independent``: another measurement, or another author's way, on
which nothing here rests. ``shared ancestry``: published by others, but on the same measurements or the same
formula. ``recomputed``: the same formula worked by another tool. ``memory``: written down from memory.
``ancestry unknown``: what it says.
"""

import json
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from server.physics.materials import Material, constant_material, material
from server.physics.statistics import Band
from server.physics.thermal import document
from server.physics.thermal.balance import balance
from server.physics.thermal.faces import public_function

TAGS = ("independent", "shared ancestry", "recomputed", "memory", "ancestry unknown")

_AT: Mapping[str, Callable[[Material, float], float]] = {
    "conductivity": lambda solid, T_K: solid.conductivity_W_m_K(T_K),
    "resistivity": lambda solid, T_K: solid.resistivity_ohm_m(T_K),
    "specific_heat": lambda solid, T_K: solid.specific_heat_J_kg_K(T_K),
    "contraction": lambda solid, T_K: solid.contraction(T_K),
}
_BETWEEN: Mapping[str, Callable[[Material, float, float], float]] = {
    "conductivity_integral": lambda solid, cold_K, hot_K: solid.conductivity_integral_W_m(cold_K, hot_K),
    "enthalpy": lambda solid, cold_K, hot_K: solid.enthalpy_J_kg(cold_K, hot_K),
}


@dataclass(frozen=True)
class Evidence:
    """One published value and the one computed here.

    Attributes
    ----------
    mechanism : str
        What it tests.
    quantity : str
        What it is a value of, in words.
    published : float
        As published, in `unit`.
    computed : float
        As computed here, in `unit`.
    unit : str
        SI unit of both, as printed.
    tolerance : float
        How far the computed value may be off, as a share of the published one.
    source : str
        Where it was published.
    tag : str
        One of `TAGS`.
    """

    mechanism: str
    quantity: str
    published: float
    computed: float
    unit: str
    tolerance: float
    source: str
    tag: str

    @property
    def deviation(self) -> float:
        """Computed less published, as a share of the published value."""
        return (self.computed - self.published) / abs(self.published)

    @property
    def holds(self) -> bool:
        """Whether the deviation lies within the tolerance."""
        return abs(self.deviation) <= self.tolerance


@cache
def all_evidence() -> tuple[Evidence, ...]:
    """Every published value, computed afresh.

    Returns
    -------
    tuple of Evidence
        Mechanisms first, then the properties of materials.

    Raises
    ------
    PhysicsError
        Never, unless a row of the data asks for what cannot be computed.

    Examples
    --------
    >>> all_evidence()[0].quantity
    'Diameter of No. 24'
    """
    mechanisms = (_of_mechanism(row) for row in _rows("mechanisms.json"))
    return (*mechanisms, *(_of_material(row) for row in _rows("materials.json")))


def evidence_counts() -> Mapping[str, int]:
    """How many values there are of each tag.

    Returns
    -------
    mapping of str to int
        In the order of `TAGS`.

    Examples
    --------
    >>> evidence_counts()["independent"] >= 40
    True
    """
    found = Counter(row.tag for row in all_evidence())
    return {tag: found[tag] for tag in TAGS}


def _of_mechanism(row: Mapping[str, Any]) -> Evidence:
    """What a public function gives for the arguments of a row, or the balance of a row's document."""
    result = _balanced(row) if "document" in row else _called(row)
    for name in filter(None, row.get("take", "").split(".")):
        result = result[name] if isinstance(result, Mapping) else getattr(result, name)
    computed: Any = result.best if isinstance(result, Band) else result
    return _evidence(row, row["mechanism"], row["quantity"], float(computed))


def _called(row: Mapping[str, Any]) -> Any:
    """The result of the public function a row names by its face: ``thermal.hole_W``."""
    function = public_function(row["function"])
    return function(**{key: _argument(value) for key, value in row["arguments"].items()})


def _balanced(row: Mapping[str, Any]) -> Any:
    """The budget of a case, with the row's own elements if it has any."""
    case = _rows("cases.json")[row["document"]]
    return balance(*document.read({**case, "elements": row.get("elements", case["elements"])}))


def _argument(value: Any) -> Any:
    """An argument as it stands, or the material of constant properties it describes."""
    if isinstance(value, Mapping):
        return constant_material(*value["constant_material"])
    return value


def _of_material(row: Mapping[str, Any]) -> Evidence:
    """The value a property of a material has where a row says."""
    solid, what = material(row["material"]), row["property"]
    if what in _AT:
        where = f"at {row['T_K']:g} K"
        value = _AT[what](solid, row["T_K"])
    else:
        where = f"from {row['cold_K']:g} to {row['hot_K']:g} K"
        value = _BETWEEN[what](solid, row["cold_K"], row["hot_K"])
    quantity = f"{what.replace('_', ' ').capitalize()} of {row['material']} {where}"
    return _evidence(row, "materials", quantity, value)


def _evidence(row: Mapping[str, Any], mechanism: str, quantity: str, computed: float) -> Evidence:
    unit = row["unit"].replace("ohm", "Ω")
    return Evidence(
        mechanism, quantity, row["published"], computed, unit, row["tolerance"], row["source"], row["tag"]
    )


def _rows(name: str) -> Any:
    path = files("server.physics.thermal") / "data" / "evidence" / name
    return json.loads(path.read_text("utf-8"))
