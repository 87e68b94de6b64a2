"""The document: what is written is read back the same, and every bad field is named."""

import json
import math
from typing import Any

import jsonschema_rs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics import thermal
from server.physics.materials import table_material
from server.physics.statistics import Band
from server.physics.thermal import document, fields
from server.physics.thermal.kinds import KINDS
from tests.physics.thermal.bench import bench_a, phosphor_bronze_loom


def quantities(about: Any) -> st.SearchStrategy[Any]:
    low, high = about["range"]
    numbers = st.floats(low, high)
    bands = st.tuples(numbers, numbers).map(sorted).map(lambda ends: Band(ends[0], None, ends[1]))
    bests = st.tuples(numbers, numbers, numbers).map(sorted).map(lambda parts: Band(*parts))
    return st.one_of(st.none(), numbers, bands, bests)


def values(about: Any) -> st.SearchStrategy[Any]:
    if about["type"] == "quantity":
        return quantities(about)
    if about["type"] == "count":
        return st.integers(*about["range"])
    if about["type"] in ("choice", "stage"):
        return st.sampled_from(about["choices"])
    if about["type"] == "material":
        return st.one_of(st.none(), st.sampled_from(["manganin", "copper-rrr-73", "ptfe"]))
    if about["type"] == "lengths":
        crossings = st.sampled_from([("vessel", "shield"), ("shield", "platform"), ("vessel", "sample")])
        return st.dictionaries(crossings, quantities(about))
    return st.lists(rows(about["of"]), max_size=3).map(tuple)


def rows(cls: type) -> st.SearchStrategy[Any]:
    return st.builds(cls, **{name: values(about) for name, about in fields.described(cls).items()})


def elements(kind: str) -> st.SearchStrategy[Any]:
    cls: Any = KINDS[kind].dataclass
    own = {"kind": st.just(kind)} if cls is thermal.Run else {}
    found = {name: values(about) for name, about in fields.described(cls).items()}
    return st.builds(cls, key=st.text("abc-1", min_size=1, max_size=8), **own, **found)


@given(st.sampled_from(sorted(KINDS)).flatmap(elements))
def test_an_element_written_and_read_is_the_same(element: thermal.Element) -> None:
    entry = json.loads(json.dumps(document.write_element(element), allow_nan=False))
    assert document.read_element(entry) == element


@given(st.sampled_from(sorted(KINDS)).flatmap(elements))
def test_what_is_written_fits_the_schema(element: thermal.Element) -> None:
    written = document.write(bench_a(), [element])
    assert VALIDATOR.is_valid(json.loads(json.dumps(written)))


VALIDATOR = jsonschema_rs.validator_for(document.schema())


def test_a_cryostat_written_and_read_is_the_same() -> None:
    loom = phosphor_bronze_loom()
    entry = json.loads(json.dumps(document.write(bench_a(), [loom]), allow_nan=False))
    assert document.read(entry) == (bench_a(), (loom,))


def test_an_absent_field_is_the_default_of_its_kind() -> None:
    coax = document.read_element({"key": "rf", "kind": "coax"})
    wire = document.read_element({"key": "dc", "kind": "wire"})
    assert isinstance(coax, thermal.Run)
    assert isinstance(wire, thermal.Run)
    assert (coax.diameter_m, wire.diameter_m) == (2.2e-3, 0.127e-3)
    assert wire.material is None


WIRE = {"key": "dc", "kind": "wire", "material": "manganin", "diameter_m": 0.0001}


@pytest.mark.parametrize(
    ("change", "path", "words"),
    [
        ({"diameter_m": -1.0}, "elements[0].diameter_m", "between 0.000005 and 0.03 m"),
        ({"diameter_m": math.nan}, "elements[0].diameter_m", "finite"),
        ({"diameter_m": math.inf}, "elements[0].diameter_m", "finite"),
        ({"diameter_m": "0.1 mm"}, "elements[0].diameter_m", "without a unit"),
        ({"diameter_m": True}, "elements[0].diameter_m", "a number"),
        ({"diameter_m": [0.0002, 0.0001]}, "elements[0].diameter_m", "from low to high"),
        ({"diameter_m": [0.0002]}, "elements[0].diameter_m", "[low, high]"),
        ({"count": 1.5}, "elements[0].count", "whole number"),
        ({"count": 0}, "elements[0].count", "between 1"),
        ({"material": "unobtainium"}, "elements[0].material", "no material called"),
        ({"material": 3}, "elements[0].material", "name of a material"),
        ({"ends_on": "attic"}, "elements[0].ends_on", "one of shield"),
        ({"lengths_m": {"attic-shield": 1.0}}, "elements[0].lengths_m.attic-shield", "colder"),
        ({"lengths_m": {"shield-vessel": 1.0}}, "elements[0].lengths_m.shield-vessel", "colder"),
        ({"lengths_m": {"vessel-shield": 1e9}}, "elements[0].lengths_m.vessel-shield", "between"),
        ({"lengths_m": 0.3}, "elements[0].lengths_m", "vessel-shield"),
        ({"lags": [{"stage": "vessel"}]}, "elements[0].lags[0].stage", "one of shield"),
        ({"lags": [7]}, "elements[0].lags[0]", "object"),
        ({"lags": {}}, "elements[0].lags", "list"),
        ({"colour": "red"}, "elements[0].colour", "no such field"),
        ({"kind": "rope"}, "elements[0].kind", "must be one of"),
        ({"kind": ["wire"]}, "elements[0].kind", "must be one of"),
        ({"key": ""}, "elements[0].key", "key"),
        ({"key": 5}, "elements[0].key", "key"),
        ({"key": "x" * 500}, "elements[0].key", "key"),
    ],
)
def test_a_bad_field_is_named_with_its_path_and_a_sentence(
    change: dict[str, Any], path: str, words: str
) -> None:
    good = document.write(bench_a(), [])
    with pytest.raises(document.BadDocument) as caught:
        document.read(good | {"elements": [WIRE | change]})
    assert list(caught.value.faults) == [path]
    assert words in caught.value.faults[path]


def test_every_bad_field_is_reported_at_once() -> None:
    bad = [WIRE | {"diameter_m": -1.0, "count": 0}, WIRE | {"key": "dc2", "material": "unobtainium"}]
    with pytest.raises(document.BadDocument) as caught:
        document.read_elements(bad)
    assert len(caught.value.faults) == 3


def test_a_key_that_is_there_twice_is_refused() -> None:
    with pytest.raises(document.BadDocument, match="there twice"):
        document.read_elements([WIRE, WIRE])


def test_more_than_two_thousand_elements_are_refused() -> None:
    many = [WIRE | {"key": f"w{number}"} for number in range(2001)]
    with pytest.raises(document.BadDocument, match="At most 2000"):
        document.read_elements(many)
    assert len(document.read_elements(many[:2000])) == 2000


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"cooler": {"kind": "magic"}}, "cryostat.cooler.kind"),
        ({"cooler": {"kind": "heater-test", "points": []}}, "cryostat.cooler.points"),
        ({"cooler": {"kind": "heater-test", "points": [{"heated": "platform"}]}}, "cryostat.cooler.points"),
        ({"stages": ["shield", "vessel"]}, "cryostat.stages"),
        ({"stages": 4}, "cryostat.stages"),
        ({"limits_K": {"platform": -4}}, "cryostat.limits_K.platform"),
        ({"limits_K": {"attic": 4}}, "cryostat.limits_K.attic"),
        ({"bare": {"elements": [{"kind": "wire"}]}}, "cryostat.bare.elements[0].key"),
        ({"vessel_K": None}, "cryostat.vessel_K"),
    ],
)
def test_a_bad_cryostat_is_refused_with_its_path(change: dict[str, Any], path: str) -> None:
    good = document.write(bench_a(), [])
    with pytest.raises(document.BadDocument) as caught:
        document.read({"cryostat": good["cryostat"] | change})
    assert list(caught.value.faults) == [path]


@pytest.mark.parametrize("junk", [None, 4, [], "x", {"cryostat": 4}, {"cryostat": {}, "extra": 1}])
def test_junk_is_refused_and_never_crashes(junk: Any) -> None:
    with pytest.raises(document.BadDocument):
        document.read(junk)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(
    st.dictionaries(st.sampled_from(["diameter_m", "lags", "lengths_m", "material", "count"]), json_values)
)
def test_any_value_in_any_field_is_read_or_refused_by_name(change: dict[str, Any]) -> None:
    faults: dict[str, str] = {}
    try:
        document.read_elements([WIRE | change])
    except document.BadDocument as refusal:
        faults = refusal.faults
    assert all(path.startswith("elements[0].") for path in faults)


OURS = table_material("ours", [2, 310], [0.02, 3.1], source="our book", relative_uncertainty=0.2)


def test_an_element_may_name_a_material_it_is_handed_and_no_other() -> None:
    entry = WIRE | {"material": "ours"}
    element = document.read_element(entry, own={"ours": OURS})
    assert isinstance(element, thermal.Run)
    assert element.material is OURS
    assert document.write_element(element)["material"] == "ours"
    with pytest.raises(document.BadDocument) as refusal:
        document.read_elements([entry], own={"theirs": OURS})
    assert "'ours'" in refusal.value.faults["elements[0].material"]


def test_what_a_laboratory_measured_itself_counts_before_what_is_published() -> None:
    element = document.read_element(WIRE | {"material": "brass"}, own={"brass": OURS})
    assert isinstance(element, thermal.Run)
    assert element.material is OURS


def test_a_document_and_its_bare_reference_may_name_it() -> None:
    loom = WIRE | {"material": "ours"}
    sent = document.write(bench_a(), ())
    sent["cryostat"]["bare"]["elements"] = [loom]
    sent["elements"] = [loom]
    with pytest.raises(document.BadDocument) as refusal:
        document.read(sent)
    assert refusal.value.faults.keys() == {"cryostat.bare.elements[0].material", "elements[0].material"}
    cryostat, elements = document.read(sent, {"ours": OURS})
    assert cryostat.bare.elements == elements
