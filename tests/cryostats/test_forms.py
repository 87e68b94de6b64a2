"""Forms made from the dataclasses: what is stored is shown, what is shown is read back, for every kind."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.cryostats import facts, forms, reading
from server.cryostats.models import Cryostat
from server.cryostats.typed import typed
from server.physics import thermal
from server.physics.thermal import document
from server.physics.thermal.fields import described
from tests.factories import AT, EVERY_STAGE

BENCH = Cryostat(id=1, slug="b", name="B", stages=list(EVERY_STAGE), limits_K={}, made_at=AT)
every_kind = pytest.mark.parametrize("kind", list(thermal.KINDS))


def quantities(meta: forms.Meta) -> st.SearchStrategy[Any]:
    low, high = meta["range"]
    numbers = st.floats(low, high, allow_nan=False, allow_subnormal=False)
    numbers = numbers.filter(lambda value: value == 0 or abs(value) > 1e-9)
    ranges = st.tuples(numbers, numbers).map(sorted).filter(lambda pair: pair[0] < pair[1]).map(list)
    return st.none() | numbers | ranges


def values(name: str, meta: forms.Meta) -> st.SearchStrategy[Any]:
    """Anything the document may hold in this field."""
    made: dict[str, Any] = {
        "quantity": lambda: quantities(meta),
        "count": lambda: st.integers(*meta["range"]),
        "choice": lambda: st.sampled_from(meta["choices"]),
        "stage": lambda: st.sampled_from(meta["choices"]),
        "material": lambda: st.none() | st.sampled_from(thermal.materials()),
        "lengths": lambda: st.dictionaries(
            st.sampled_from(["vessel-shield", "shield-platform", "platform-mount", "vessel-platform"]),
            quantities(meta),
            min_size=1,
        ),
        "rows": lambda: rows(name, meta),
    }
    return made[meta["type"]]()  # type: ignore[no-any-return]


def rows(name: str, meta: forms.Meta) -> st.SearchStrategy[Any]:
    about = described(meta["of"])
    asked = {field: values(field, row) for field, row in about.items()}
    whole = st.fixed_dictionaries(asked)
    if name == "lags":
        inner = st.lists(whole, min_size=1, max_size=4, unique_by=lambda row: str(row["stage"]))
        return inner.map(lambda found: sorted(found, key=lambda row: EVERY_STAGE.index(row["stage"])))
    return st.lists(whole, min_size=1, max_size=4)


def entries(kind: str) -> st.SearchStrategy[dict[str, Any]]:
    """What a document may say of this kind, any field left out."""
    asked = {name: values(name, meta) for name, meta in forms.metas(kind).items()}
    return st.fixed_dictionaries({}, optional=asked)


@every_kind
@given(data=st.data())
@settings(max_examples=25, deadline=None)
def test_what_is_stored_is_shown_and_read_back_as_it_was(kind: str, data: st.DataObject) -> None:
    stored = data.draw(entries(kind))
    read, faults = reading.read(kind, typed(kind, stored), BENCH)
    assert faults == {}
    assert read == stored


@every_kind
@given(data=st.data())
@settings(max_examples=25, deadline=None)
def test_the_document_of_every_kind_goes_through_and_comes_back(kind: str, data: st.DataObject) -> None:
    entry = {"key": "x", "kind": kind, **data.draw(entries(kind))}
    element = document.read_element(entry)
    written = document.write_element(element)
    assert document.read_element(written) == element


@every_kind
@given(data=st.data())
@settings(max_examples=15, deadline=None)
def test_every_stored_element_can_be_said_in_words(kind: str, data: st.DataObject) -> None:
    from server.cryostats.rules import Put

    stored = data.draw(entries(kind))
    for fact in facts.of(Put("x", kind, stored)):
        assert fact.name
        assert fact.value
        assert "None" not in fact.value
        assert "[" not in fact.value
    for name, value in stored.items():
        assert all(facts.field_words(kind, name, value))


@every_kind
def test_an_empty_form_is_all_defaults(kind: str) -> None:
    shown = forms.fields(kind, {}, BENCH)
    asked = [*shown.states, *shown.plain, *shown.folded]
    assert reading.read(kind, {}, BENCH) == ({}, {})
    chosen = {field.name.removeprefix("e."): field.value for field in asked if field.value}
    read, faults = reading.read(kind, chosen, BENCH)
    assert faults == {}
    assert document.read_element({"key": "x", "kind": kind, **read}) == document.read_element(
        {"key": "x", "kind": kind}
    )


@every_kind
def test_every_field_of_a_form_has_a_label_and_a_name_of_its_own(kind: str) -> None:
    shown = forms.fields(kind, {}, BENCH)
    cells = [cell for row in shown.crossings for cell in row.cells if cell]
    asked = [*shown.states, *shown.plain, *shown.folded, *cells]
    assert all(field.label and field.name.startswith("e.") for field in asked)
    assert len({field.name for field in asked}) == len(asked)


@pytest.mark.parametrize(
    ("kind", "name", "text"),
    [
        ("wire", "current_A", "12 mm"),
        ("wire", "current_A", "much"),
        ("wire", "current_A", "5–1 mA"),
        ("wire", "current_A", "NaN"),
        ("wire", "current_A", "1e999 mA"),
        ("wire", "diameter_m", "AWG 1000"),
        ("wire", "count", "2.5"),
        ("wire", "count", "-3"),
        ("wire", "count", "1" * 400),
        ("wire", "lengths_m.vessel-shield", "0,3,4 m"),
        ("wire", "lags.shield.length_m", "wide"),
        ("coax", "attenuators.0.attenuation_dB", "20 K"),
        ("source", "power_W", "4 mA"),
        ("lid", "opening_diameter_m", "big"),
    ],
)
def test_what_cannot_be_read_is_told_at_its_field(kind: str, name: str, text: str) -> None:
    sent = {name: text, "lags.shield.state": "good", "attenuators.0.stage": "platform"}
    _, faults = reading.read(kind, sent, BENCH)
    assert list(faults) == [name]
    assert len(faults[name]) > 10


@pytest.mark.parametrize(
    ("name", "text", "wanted"),
    [
        ("diameter_m", "AWG 36", 0.127e-3),
        ("diameter_m", "0.2", None),
        ("current_A", "2", 2e-3),
        ("current_A", "?", None),
        ("current_A", "1–2 mA", [1e-3, 2e-3]),
        ("lengths_m.vessel-shield", "35 cm", 0.35),
        ("lengths_m.vessel-shield", "0,3 m", 0.3),
        ("lengths_m.vessel-shield", "unknown", None),
    ],
)
def test_people_write_units_as_they_like(name: str, text: str, wanted: Any) -> None:
    """AWG 36 is 0.127 mm by ASTM B258; a bare number is in the unit that stands beside the field."""
    data, faults = reading.read("wire", {name: text}, BENCH)
    if name == "diameter_m" and wanted is None:
        assert list(faults) == [name], "a bare 0.2 is no gauge"
        return
    assert faults == {}
    found = data["lengths_m"]["vessel-shield"] if name.startswith("lengths_m") else data[name]
    assert found == pytest.approx(wanted) if isinstance(wanted, float) else found == wanted


def test_a_third_attenuator_and_a_long_stretch_are_not_lost_in_the_form() -> None:
    stored = {
        "lengths_m": {"vessel-platform": 0.45},
        "attenuators": [
            {"stage": stage, "attenuation_dB": 10.0} for stage in ("shield", "platform", "mount")
        ],
    }
    shown = forms.fields("coax", typed("coax", stored), BENCH)
    names = {field.name for field in shown.folded}
    assert "e.attenuators.2.stage" in names
    assert [row.words for row in shown.crossings][-1] == "vessel to platform"
    assert reading.read("coax", typed("coax", stored), BENCH)[0] == stored


def _sent_untouched(kind: str, stored: dict[str, Any]) -> dict[str, str]:
    """What a browser sends back when nobody touches the form: every choice stands at something."""
    shown = forms.fields(kind, typed(kind, stored), BENCH)
    cells = [cell for row in shown.crossings for cell in row.cells if cell]
    views = [*shown.states, *shown.plain, *shown.folded, *cells]
    sent = {view.name: view.value or (view.choices[0][0] if view.choices else "") for view in views}
    sent |= {view.as_shown_name: view.as_shown for view in views if view.as_shown}
    return {name.removeprefix("e."): text for name, text in sent.items() if text}


@every_kind
def test_a_choice_nobody_touched_is_no_answer(kind: str) -> None:
    """A default that only stood in the form must not be logged as somebody's decision."""
    assert reading.read(kind, _sent_untouched(kind, {}), BENCH) == ({}, {})


def test_a_choice_somebody_made_is_kept_even_when_it_was_a_default_before() -> None:
    sent = _sent_untouched("lid", {"state": "on"}) | {"bore_glass": "sapphire"}
    assert reading.read("lid", sent, BENCH)[0] == {"state": "on", "bore_glass": "sapphire"}
    stored = {"lags": [{"stage": "shield", "state": "good"}]}
    assert reading.read("wire", _sent_untouched("wire", stored), BENCH)[0] == stored
