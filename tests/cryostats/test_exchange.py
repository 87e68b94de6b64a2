"""A configuration out as a file and in as a change: nothing lost, every fault with its place."""

import csv
import io
import json
from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from server.cryostats import budget, budget_table, contents, exchange, incoming, service, wire_list
from server.cryostats.incoming import BadFile
from server.cryostats.models import Cryostat
from server.cryostats.rules import Change
from server.errors import Refused
from server.people.models import Person
from server.physics import thermal
from server.physics.thermal import document
from server.web import tabular
from tests.factories import AT, a_cooler, a_cryostat, lid, logged, somebody, wire

Books = tuple[Session, Person, Cryostat]
HEATER = {"key": "heater", "kind": "source", "power_W": [0.0, 0.02], "note": "Left on?\nAsk."}


@pytest.fixture
def books(session: Session) -> Books:
    """A session, a steward, and a cryostat with a cooler, a loom, a lid and a heater."""
    ada, cryostat = somebody(session), a_cryostat(session)
    a_cooler(session, cryostat)
    logged(session, ada, cryostat, wire(), lid(), HEATER)
    return session, ada, cryostat


def out(books: Books) -> dict[str, Any]:
    session, _, cryostat = books
    return exchange.document_of(session, cryostat, contents.elements(session, cryostat, cryostat.revision))


def text(value: Any) -> bytes:
    return json.dumps(value, indent=2).encode()


def back(books: Books, content: bytes, *, take_others: bool = False) -> Change:
    session, _, cryostat = books
    present = contents.elements(session, cryostat, cryostat.revision)
    found = incoming.read(content, present)
    return exchange.change_from(session, cryostat, found, "From a file", take_others=take_others)


def faults(books: Books, content: bytes) -> list[tuple[int, str]]:
    session, _, cryostat = books
    before = contents.elements(session, cryostat, cryostat.revision)
    with pytest.raises(BadFile) as caught:
        back(books, content)
    assert contents.elements(session, cryostat, cryostat.revision) == before
    assert cryostat.revision == 1
    return [(fault.line, fault.place) for fault in caught.value.faults]


def test_the_document_is_the_one_that_heat_reads_and_gives_the_same_budget(books: Books) -> None:
    session, _, cryostat = books
    physical, elements = document.read(json.loads(text(out(books))))
    stored = budget.of_revision(session, cryostat, 1).budget
    computed = thermal.balance(physical, elements)
    assert document.write_budget(computed)["temperatures"] == document.write_budget(stored)["temperatures"]


def test_the_document_keeps_to_the_published_schema(books: Books) -> None:
    """Checked by the rules of JSON Schema draft 2020-12, with the library that the API's tests bring."""
    import jsonschema_rs

    validator = jsonschema_rs.validator_for(json.dumps(document.schema()))
    validator.validate(json.loads(text(out(books))))
    broken = deepcopy(out(books))
    broken["elements"][0]["count"] = "many"
    with pytest.raises(jsonschema_rs.ValidationError):
        validator.validate(broken)


def test_what_went_out_is_no_change_when_it_comes_in(books: Books) -> None:
    session, _, cryostat = books
    for content in (text(out(books)), wires(books).encode()):
        with pytest.raises(Refused, match="Nothing was brought in") as caught:
            back(books, content, take_others=True)
        assert "differs" in caught.value.fields["file"]
    assert cryostat.revision == 1
    assert session.is_active


def test_a_document_makes_another_cryostat_the_same_to_the_last_field(books: Books) -> None:
    session, ada, cryostat = books
    other = a_cryostat(session, "Bench B")
    change = back((session, ada, other), text(out(books)))
    service.log_change(session, ada, other.slug, change, AT)
    assert contents.elements(session, other, 1) == contents.elements(session, cryostat, 1)


def test_only_what_differs_is_put_and_others_go_only_when_asked(books: Books) -> None:
    value = out(books)
    value["elements"] = [row for row in value["elements"] if row["key"] != "heater"]
    value["elements"][0]["count"] = 12
    value["elements"].append(wire("second"))
    change = back(books, text(value))
    assert [put.key for put in change.put] == ["loom", "second"]
    assert change.remove == ()
    assert back(books, text(value), take_others=True).remove == ("heater",)


def test_a_wire_list_takes_out_runs_only(books: Books) -> None:
    change = back(books, b"key,kind\r\nnew,wire\r\n", take_others=True)
    assert ([put.key for put in change.put], change.remove) == (["new"], ("loom",))


def test_what_a_wire_list_has_no_column_for_stays_as_it_is(books: Books) -> None:
    session, ada, cryostat = books
    logged(session, ada, cryostat, wire(label="Main loom", note="Reel 4", current_A=0.01))
    [put] = back(books, b"key,kind,vessel-shield [cm],count\r\nloom,wire,40,12\r\n").put
    assert (put.label, put.note, put.data["count"], put.data["current_A"]) == (
        "Main loom",
        "Reel 4",
        12,
        0.01,
    )
    assert put.data["lengths_m"] == {"vessel-shield": 0.4, "shield-platform": 0.15}
    assert put.data["lags"] == wire()["lags"]


def wires(books: Books) -> str:
    session, _, cryostat = books
    elements = contents.elements(session, cryostat, 1)
    return wire_list.write(list(elements.values()), cryostat.stages, tabular.STYLES["comma"])


def mended(books: Books, **fields: Any) -> bytes:
    """The document with its first element, the loom on line …, altered."""
    value = out(books)
    value["elements"][0] |= fields
    return text(value)


def line_of(content: bytes, words: str) -> int:
    return content.decode()[: content.decode().index(words)].count("\n") + 1


@pytest.mark.parametrize(
    ("fields", "place"),
    [
        ({"count": -1}, "elements[0].count"),
        ({"count": "many"}, "elements[0].count"),
        ({"colour": "red"}, "elements[0].colour"),
        ({"lengths_m": {"vessel-shield": 900}}, "elements[0].lengths_m.vessel-shield"),
        ({"lags": [{"stage": "shield", "state": "fine"}]}, "elements[0].lags[0].state"),
        ({"lags": "none"}, "elements[0].lags"),
        ({"material": "unobtainium"}, "elements[0].material"),
        ({"kind": "thing"}, "elements[0].kind"),
        ({"key": "No key"}, "elements[0].key"),
        ({"key": "lid"}, "elements[1].key"),
        ({"house": "yes"}, "elements[0].house"),
        ({"current_A": 10**400}, "elements[0].current_A"),
        ({"diameter_m": {"low": 1e-4, "best": 1e-3, "high": 2e-4}}, "elements[0].diameter_m"),
    ],
)
def test_a_fault_in_a_document_is_named_with_line_and_path(
    books: Books, fields: dict[str, Any], place: str
) -> None:
    content = mended(books, **fields)
    [(line, found)] = faults(books, content)
    assert found == place
    first = line_of(content, '"elements": [\n    {\n') + 1
    assert line >= first if place.startswith("elements[1]") else line == first


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (b"{", (1, "column 2")),
        (b'{\n "elements": [\n  {,}\n ]}', (3, "column 4")),
        (b"[]", (0, "")),
        (b"{}", (0, "")),
        (b'{"cryostat": {}, "elements": {}}', (0, "")),
        (b'{"cryostat": {}, "elements": [], "more": 1}', (0, "more")),
        (b'{"elements": []}', (0, "cryostat")),
        (b'{"cryostat": {"cooler": {"kind": "x"}}, "elements": []}', (0, "cryostat.cooler.kind")),
        (b'{"cryostat": {}, "elements": [5]}', (1, "elements[0]")),
        (b'{"cryostat": {}, "cryostat": {}, "elements": []}', (0, "cryostat")),
        (
            b'{"cryostat": {}, "elements": [{"key": "a", "kind": "wire", "note": "\\ud800"}]}',
            (0, "elements[0].note"),
        ),
        (
            b'{"cryostat": {}, "elements": [{"key": "a", "kind": "wire", "note": "\\u0000"}]}',
            (0, "elements[0].note"),
        ),
        (
            b'{"cryostat": {}, "elements": [{"key": "a", "kind": "wire", "current_A": NaN}]}',
            (1, "elements[0].current_A"),
        ),
        (b'{"cryostat": {}, "elements": [\n"\xff"]}', (2, "")),
        (b"[" * 100_000, (0, "")),
        (
            b'{"cryostat": {}, "elements": [{"key": "a", "kind": "wire", "count": ' + b"9" * 5000 + b"}]}",
            (1, "elements[0].count"),
        ),
        (b'{"a": ' * 30 + b"1" + b"}" * 30, (0, ".".join("a" * 13))),
    ],
)
def test_what_is_no_document_is_refused_with_its_place(
    books: Books, content: bytes, place: tuple[int, str]
) -> None:
    assert faults(books, content) == [place]


def test_all_faults_are_told_at_once_in_their_order(books: Books) -> None:
    value = out(books)
    value["elements"][2]["power_W"] = "a lot"
    value["elements"][0]["count"] = 0
    value["elements"][0]["traces"] = 0
    found = faults(books, text(value))
    assert [place for _, place in found] == ["elements[0].count", "elements[0].traces", "elements[2].power_W"]
    assert found == sorted(found, key=lambda fault: fault[0])


def test_more_elements_than_a_configuration_holds_are_refused(books: Books) -> None:
    rows = [{"key": f"w{number}", "kind": "wire"} for number in range(2001)]
    assert (0, "elements") in faults(books, text({"cryostat": {}, "elements": rows}))


def test_the_lines_are_those_of_the_documents_own_elements() -> None:
    told = '{"elements": [\n{"a": [1,\n2]},\n\n{}],\n "cryostat": {"bare": {"elements": [{}, {}]}}}'
    assert incoming.element_lines(told) == [2, 5]
    first = '{"cryostat": {"bare": {"elements": [{},\n{}]}},\n"elements": [{}]}'
    assert incoming.element_lines(first) == [3]


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("loom,wire,-3,,,", "count"),
        ("loom,wire,,900000,,", "vessel-shield [mm]"),
        ("loom,wire,,,good,9000", "lag shield length [mm]"),
        ("loom,wire,,,excellent,", "lag shield"),
        ("No Key,wire,,,,", "key"),
    ],
)
def test_a_fault_in_a_wire_list_is_named_with_line_and_column(books: Books, row: str, column: str) -> None:
    head = "key,kind,count,vessel-shield [mm],lag shield,lag shield length [mm]"
    assert faults(books, f"{head}\r\nother,wire,,,,\r\n{row}\r\n".encode()) == [(3, column)]


def test_a_stage_that_is_not_there_is_named_where_it_stands(session: Session) -> None:
    small = a_cryostat(session, "Small", ("vessel", "shield", "platform"))
    books = (session, somebody(session), small)
    with pytest.raises(BadFile) as caught:
        back(books, b"key,kind,ends on\r\na,wire,sample\r\n")
    assert [(fault.line, fault.place) for fault in caught.value.faults] == [(2, "ends on")]


@settings(max_examples=150, deadline=None)
@given(
    st.binary(max_size=60)
    | st.text(max_size=60).map(str.encode)
    | st.builds(
        lambda value: json.dumps({"cryostat": {}, "elements": value}).encode(),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
            lambda inner: (
                st.lists(inner, max_size=3)
                | st.dictionaries(
                    st.sampled_from(["key", "kind", "label", "lags", "count", "lengths_m", "x"]),
                    inner,
                    max_size=4,
                )
            ),
            max_leaves=8,
        ),
    )
)
def test_no_file_whatsoever_does_more_than_be_refused(content: bytes) -> None:
    try:
        found = incoming.read(content, {})
    except BadFile:
        return
    budget.element_faults(found.puts, Cryostat(slug="x", name="X", stages=["vessel", "shield"], made_at=AT))


def rows(books: Books, style: str = "comma") -> list[dict[str, str]]:
    session, _, cryostat = books
    elements = contents.elements(session, cryostat, 1)
    found = budget.of_revision(session, cryostat, 1)
    told = budget_table.write(cryostat, 1, elements, found, tabular.STYLES[style])
    return list(csv.DictReader(io.StringIO(told, newline=""), delimiter=tabular.STYLES[style].separator))


def test_the_budget_as_a_table_says_what_the_budget_says(books: Books) -> None:
    session, _, cryostat = books
    computed = budget.of_revision(session, cryostat, 1).budget
    told = {(row["about"], row["key"], row["stage"], row["quantity"]): row for row in rows(books)}
    band = computed.temperatures["platform"]
    row = told["stage", "", "platform", "temperature"]
    assert row["unit"] == "K"
    assert float(row["low"]) == pytest.approx(band.low, rel=1e-5)
    assert told["stage", "", "platform", "limit"]["best"] == "3.6"
    heat = computed.heats["loom"]["shield"]
    assert float(told["element", "loom", "shield", "heat"]["low"]) == pytest.approx(
        (heat.low or 0) * 1e3, rel=1e-5
    )
    assert sum(row["about"] == "gap" for row in rows(books)) == len(computed.gaps)
    assert sum(row["about"] == "warning" for row in rows(books)) == len(computed.warnings)


def test_the_budget_takes_the_decimal_sign_of_its_style(books: Books) -> None:
    limits = [row["best"] for row in rows(books, "semicolon") if row["quantity"] == "limit"]
    assert limits == ["3,6"]


def test_a_name_that_would_be_a_formula_is_none_in_the_budget(session: Session) -> None:
    cryostat = a_cryostat(session, '=HYPERLINK("x")')
    ada = somebody(session)
    logged(session, ada, cryostat, wire(label="=1+1"))
    told = {row["cryostat"] for row in rows((session, ada, cryostat))}
    assert told == {'\'=HYPERLINK("x")'}
