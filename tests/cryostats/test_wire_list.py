"""Wire lists: out in the trade's units, in again with nothing lost, and nothing that a spreadsheet runs."""

import csv
import io
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.cryostats import wire_columns, wire_list, wire_reading
from server.cryostats.rules import STAGES, Put
from server.physics import thermal
from server.physics.materials import awg_diameter_m
from server.physics.thermal.fields import described
from server.web import tabular
from server.web.tabular import STYLES, Style

STAGES_HERE = STAGES
COMMA = STYLES["comma"]


def content(puts: list[Put], style: Style = COMMA) -> bytes:
    return (tabular.MARK + wire_list.write(puts, STAGES_HERE, style)).encode()


def numbers(meta: Any) -> st.SearchStrategy[float]:
    low, high = meta["range"]
    return st.floats(low, high) | st.sampled_from([low, high])


def quantities(meta: Any) -> st.SearchStrategy[Any]:
    ends = st.lists(numbers(meta), min_size=2, max_size=2, unique=True).map(sorted)
    three = st.lists(numbers(meta), min_size=3, max_size=3, unique=True).map(sorted)
    return (
        st.none()
        | numbers(meta)
        | ends
        | three.map(lambda row: {"low": row[0], "best": row[1], "high": row[2]})
    )


def values(name: str, meta: Any) -> st.SearchStrategy[Any]:
    if meta["type"] == "quantity":
        gauges = st.integers(20, 50).map(lambda gauge: float(awg_diameter_m(gauge)))
        return quantities(meta) | gauges if name == "diameter_m" else quantities(meta)
    if meta["type"] == "count":
        return st.integers(*meta["range"])
    if meta["type"] == "material":
        return st.none() | st.sampled_from(["phosphor-bronze", "copper-rrr-100"])
    if meta["type"] == "lengths":
        return st.dictionaries(st.sampled_from(wire_columns.CROSSINGS), quantities(meta), min_size=1)
    if meta["type"] == "rows":
        about = described(meta["of"])
        parts = {key: values(key, one) for key, one in about.items()}
        needed = {"stage", "state"} & set(parts)
        rows = st.fixed_dictionaries(
            {key: parts[key] for key in needed},
            optional={key: value for key, value in parts.items() if key not in needed},
        )
        return st.lists(rows, min_size=1, max_size=3)
    return st.sampled_from(meta["choices"])


FIELDS = {name: values(name, meta) for name, meta in described(thermal.Run).items()}
TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n\t"), max_size=12)
ODD = st.sampled_from(["=1+1", "+1", "-x", "@a", "'", "'=", "\tx", " a ", 'say "b"', "a;b,c", "1,5", "ä\nb"])
RUNS = st.builds(
    Put,
    key=st.from_regex(r"[a-z0-9]{1,6}", fullmatch=True),
    kind=st.sampled_from(wire_columns.KINDS),
    data=st.fixed_dictionaries({}, optional=FIELDS),
    label=TEXTS | ODD,
    note=TEXTS | ODD,
    house=st.booleans(),
    part=st.just("") | st.from_regex(r"[A-Za-z0-9-]{1,6}", fullmatch=True),
)
LISTS = st.lists(RUNS, min_size=1, max_size=4, unique_by=lambda put: put.key)


@settings(max_examples=80, deadline=None)
@given(LISTS, st.sampled_from(list(STYLES.values())))
def test_what_goes_out_comes_back_the_same_whatever_separates_it(puts: list[Put], style: Style) -> None:
    back = wire_reading.read(content(puts, style))
    assert back.faults == []
    assert back.puts == [wire_list.canonical(put) for put in puts]


@settings(max_examples=50, deadline=None)
@given(LISTS, st.sampled_from(list(STYLES.values())))
def test_no_cell_that_is_text_can_be_taken_for_a_formula(puts: list[Put], style: Style) -> None:
    text = wire_list.write(puts, STAGES_HERE, style)
    cells = [
        cell for row in csv.reader(io.StringIO(text, newline=""), delimiter=style.separator) for cell in row
    ]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_every_field_of_a_run_has_its_column() -> None:
    """A field that is added to runs and forgotten here would be lost on the way."""
    of_their_own = {"lengths_m", "lags", "attenuators"}
    assert set(described(thermal.Run)) == set(wire_columns.FIELDS) | of_their_own
    assert set(described(thermal.Lag)) == set(wire_columns.LAG_PARTS) | {"stage"}
    assert set(described(thermal.Attenuator)) == set(wire_columns.ATTENUATOR_PARTS)


@given(RUNS)
def test_the_one_way_of_writing_means_the_same_run(put: Put) -> None:
    from server.cryostats.documents import written
    from server.physics.thermal import document

    before = document.read_element(written(put))
    after = document.read_element(written(wire_list.canonical(put)))
    assert isinstance(before, thermal.Run)
    assert isinstance(after, thermal.Run)
    assert sorted(before.lags, key=lambda lag: STAGES.index(lag.stage)) == list(after.lags)
    assert {**vars(before), "lags": ()} == {**vars(after), "lags": ()}


LOOM = Put(
    "loom",
    "wire",
    {
        "material": "phosphor-bronze",
        "count": 24,
        "diameter_m": float(awg_diameter_m(36)),
        "lengths_m": {"vessel-shield": 0.3, "shield-platform": [0.12, 0.18]},
        "lags": [{"stage": "shield", "state": "good", "length_m": 0.02, "filler": "varnish"}],
        "current_A": None,
    },
    "Main loom",
)


def rows(text: str, separator: str = ",") -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=separator))


def test_a_list_speaks_the_units_of_the_trade() -> None:
    row = rows(wire_list.write([LOOM], STAGES_HERE, COMMA))[0]
    assert row["gauge [AWG]"] == "36"
    assert row["diameter [mm]"] == ""
    assert row["vessel-shield [mm]"] == "300"
    assert row["shield-platform [mm]"] == "120 to 180"
    assert (row["lag shield"], row["lag shield length [mm]"], row["lag shield filler"]) == (
        "good",
        "20",
        "varnish",
    )
    assert row["current [mA]"] == "?"


def test_a_semicolon_list_has_decimal_commas_that_cannot_be_read_two_ways() -> None:
    put = Put("a", "wire", {"diameter_m": 1.234e-3})
    row = rows(wire_list.write([put], STAGES_HERE, STYLES["semicolon"]), ";")[0]
    assert row["diameter [mm]"] == "1,2340"


HEAD = "key;kind;diameter [mm];current [mA];vessel-shield [mm]\r\n"


def read(text: str) -> wire_reading.Listed:
    return wire_reading.read(text.encode())


def places(text: str) -> list[tuple[int, str]]:
    return [(fault.line, fault.column) for fault in read(text).faults]


def test_a_decimal_comma_is_read_as_one() -> None:
    found = read(HEAD + "a;wire;0,127;1,234;300\r\n")
    assert found.faults == []
    assert found.puts[0].data == {
        "diameter_m": 0.127e-3,
        "current_A": 1.234e-3,
        "lengths_m": {"vessel-shield": 0.3},
    }


def test_a_comma_that_may_mean_a_thousand_is_asked_about() -> None:
    assert places(HEAD + "a;wire;;1,234;\r\n") == [(2, "current [mA]")]
    assert places(HEAD + "a;wire;0.127;1,234;\r\n") == [(2, "current [mA]")]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", (0, "")),
        ("key,kind\r\n", (1, "")),
        ("key,kind,colour\r\na,wire,red\r\n", (1, "colour")),
        ("key,kind,key\r\na,wire,b\r\n", (1, "key")),
        ("kind,count\r\nwire,3\r\n", (1, "key")),
        ("key,count\r\na,3\r\n", (1, "kind")),
        ("key,kind,diameter [kg]\r\na,wire,3\r\n", (1, "diameter [kg]")),
        ("key,kind,count\r\na,wire,3\r\nb,wire,three\r\n", (3, "count")),
        ("key,kind,diameter [mm]\r\na,wire,0.1 kg\r\n", (2, "diameter [mm]")),
        ("key,kind,diameter [mm]\r\na,wire,0.4 to 0.2\r\n", (2, "diameter [mm]")),
        ("key,kind,gauge [AWG],diameter [mm]\r\na,wire,36,0.127\r\n", (2, "diameter [mm]")),
        ("key,kind,gauge [AWG]\r\na,wire,36.5\r\n", (2, "gauge [AWG]")),
        ("key,kind,house\r\na,wire,perhaps\r\n", (2, "house")),
        ("key,kind\r\na,lid\r\n", (2, "kind")),
        ('key,kind,note\r\na,wire,"two\r\nlines"\r\nb,lid,\r\n', (4, "kind")),
        ("key,kind\r\na,wire,5\r\n", (2, "")),
        ('key,kind\r\na,"wire\r\n', (2, "")),
        ("key,kind\r\na,wi\x00re\r\n", (2, "")),
    ],
)
def test_what_is_to_be_mended_is_said_with_its_line_and_column(text: str, place: tuple[int, str]) -> None:
    assert places(text) == [place]


def test_other_units_in_the_head_and_in_a_cell_are_understood() -> None:
    found = read("Key\tKind\tDiameter (µm)\tVessel-Shield (cm)\r\na\tWire\t127\t0.3 m\r\n")
    assert found.faults == []
    assert found.puts[0].data == {"diameter_m": 127e-6, "lengths_m": {"vessel-shield": 0.3}}


@pytest.mark.parametrize("code", ["utf-8-sig", "utf-16", "cp1252"])
def test_what_desks_write_is_decoded(code: str) -> None:
    found = wire_reading.read("key;kind;label;trace width [µm]\r\na;ribbon;für Läufe;300\r\n".encode(code))
    assert found.faults == []
    assert found.puts[0].label == "für Läufe"


def test_a_list_of_more_rows_than_a_configuration_holds_is_refused() -> None:
    text = "key,kind\r\n" + "".join(f"w{number},wire\r\n" for number in range(2001))
    assert [fault.text for fault in read(text).faults] == ["Keep a list within 2000 rows"]
