"""Every property against published values; tests/reference/materials.json names the source of each."""

from collections import Counter
from collections.abc import Callable

import pytest

from server.physics.materials import Material, material
from tests.reference.materials import PUBLISHED, Record

AT: dict[str, Callable[[Material, float], float]] = {
    "conductivity": lambda solid, T_K: solid.conductivity_W_m_K(T_K),
    "resistivity": lambda solid, T_K: solid.resistivity_ohm_m(T_K),
    "specific_heat": lambda solid, T_K: solid.specific_heat_J_kg_K(T_K),
    "contraction": lambda solid, T_K: solid.contraction(T_K),
}
BETWEEN: dict[str, Callable[[Material, float, float], float]] = {
    "conductivity_integral": lambda solid, cold_K, hot_K: solid.conductivity_integral_W_m(cold_K, hot_K),
    "enthalpy": lambda solid, cold_K, hot_K: solid.enthalpy_J_kg(cold_K, hot_K),
}


def computed(record: Record) -> float:
    solid = material(record["material"])
    if record["property"] in AT:
        return AT[record["property"]](solid, record["T_K"])
    return BETWEEN[record["property"]](solid, record["cold_K"], record["hot_K"])


def place(record: Record) -> str:
    where = record.get("T_K", f"{record.get('cold_K')}-{record.get('hot_K')}")
    return f"{record['material']} {record['property']} {where} {record['tag']}"


@pytest.mark.parametrize("record", PUBLISHED, ids=place)
def test_a_published_value_is_met(record: Record) -> None:
    assert computed(record) == pytest.approx(record["published"], rel=record["tolerance"])


def test_enough_of_the_published_values_are_of_independent_origin() -> None:
    tags = Counter(record["tag"] for record in PUBLISHED)
    assert tags["independent"] >= 40
    assert sum(tags.values()) >= 120
