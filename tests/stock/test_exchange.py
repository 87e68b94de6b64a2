"""Lists in and out: nothing in them runs, line and field are named, a bad one changes nothing."""

import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import Session, select

from server.errors import Refused
from server.people.service import CommandLine
from server.stock import columns, exchange, items, service, spec, starter
from server.stock.columns import Faulty, read_items
from server.stock.models import Item, Movement
from server.stock.rules import UNITS
from server.stock.spec import Spec
from server.web.tabular import ACTIVE
from tests.stock.factories import AT, BOTH, a_lot, an_item, key_of

WHO = CommandLine()
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=20).map(str.strip)
AMOUNTS = st.none() | st.decimals(0, 1000, places=3)
ENTRIES = st.lists(
    st.fixed_dictionaries(
        {
            "what": st.from_regex(r"[a-z=+@-]{1,8}", fullmatch=True),
            "note": st.from_regex(r"[a-z ]{0,8}", fullmatch=True).map(str.strip),
        }
    ),
    max_size=2,
    unique_by=lambda row: row["what"],
).map(tuple)
SPECS = st.builds(
    Spec,
    key=st.just("disc-spring"),
    name=WORDS.filter(bool),
    unit=st.sampled_from(UNITS),
    specification=WORDS,
    hazard=WORDS,
    allowed=ENTRIES,
    cautions=st.sampled_from([(), ("S10",), ("S01", "S11")]),
    stops_work=st.booleans(),
    full=AMOUNTS,
    price=AMOUNTS,
    lead_days=st.none() | st.integers(0, 400),
    recount_share=st.sampled_from([0.05, 0.3, 1.0]),
)


@given(SPECS, st.sampled_from(["comma", "semicolon", "tab"]))
@settings(max_examples=60)
def test_what_is_written_reads_back_as_the_same_item(wanted: Spec, style: str) -> None:
    text = columns.items([(wanted, Decimal("0.25"))], style)
    (row,) = read_items(text, {})
    assert row.spec == wanted
    assert row.on_hand == Decimal("0.25")


@given(SPECS)
@settings(max_examples=60)
def test_no_cell_of_a_list_begins_like_a_formula(wanted: Spec) -> None:
    cells = [cell for row in csv.reader(io.StringIO(columns.items([(wanted, Decimal(1))]))) for cell in row]
    marks = tuple(mark for mark in ACTIVE if mark != "'")
    assert not [cell for cell in cells if cell.startswith(marks)]


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@sum", "\tx"])
def test_what_a_spreadsheet_would_run_is_marked(name: str) -> None:
    wanted = Spec("disc-spring", f"{name}|cmd", "pc")
    assert f"'{name}|cmd" in columns.items([(wanted, Decimal(0))])


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        ("key,name,unit\ngrease,Grease,g\ngrease,Grease,g\n", "line 3, key", "line 2"),
        ("key,name,unit,floor\ngrease,Grease,g,-4\n", "line 2, floor", "Enter an amount"),
        ('key,name,unit\n\n"grease",Grease,stone\n', "line 3, unit", "Choose a unit"),
        ("key,name,unit,stops_work\ngrease,Grease,g,perhaps\n", "line 2, stops_work", "yes or no"),
        ("key,name,unit,cautions\ngrease,Grease,g,S99\n", "line 2, cautions", "S99"),
        ("key,name,unit,on_hand\ngrease,Grease,g,much\n", "line 2, on_hand", "Enter an amount"),
        ("key,name,unit,colour\ngrease,Grease,g,red\n", "line 1, colour", "Known columns"),
        ("name,unit\nGrease,g\n", "line 1, key", "needed"),
        ("key,key,name,unit\na,b,Grease,g\n", "line 1", "twice"),
        ("key,name,unit\n", "the file", "no item"),
        ("", "the file", "empty"),
        ('key,name,unit\n"grease,Grease,g\n', "line 2", "taken apart"),
        ("key,name,unit\ngrease,Grease,g,more\n", "line 2", "more cells"),
    ],
)
def test_line_and_field_of_a_fault_are_named(text: str, where: str, words: str) -> None:
    with pytest.raises(Faulty) as faulty:
        read_items(text, {})
    assert words in faulty.value.faults[where]


@BOTH
def test_a_list_enters_alters_and_sets_amounts(session: Session) -> None:
    grease = an_item(session, floor=Decimal(5), place="Drawer 1")
    a_lot(session, grease, "50")
    text = "key;name;unit;floor;on_hand\nvacuum-grease;Vacuum grease;g;7,5;48\ngloves;Gloves;pair;10;120\n"
    assert exchange.bring(session, WHO, text, AT) == exchange.Taken(1, 1, 2)
    assert (grease.floor, grease.place, grease.version) == (Decimal("7.5"), "Drawer 1", 2)
    gloves = items.by_key(session, "gloves")
    assert gloves is not None
    assert service.amounts(session)[key_of(gloves)].on_hand == 120
    kinds = [row.kind for row in session.exec(select(Movement)).all()]
    assert kinds == ["received", "counted", "received"]


def test_a_list_that_changes_nothing_changes_nothing(session: Session) -> None:
    grease = an_item(session, allowed=[{"what": "indium", "note": "a little"}])
    a_lot(session, grease, "50.125")
    text = exchange.items_text(session, "semicolon")
    assert exchange.bring(session, WHO, text, AT) == exchange.Taken(0, 0, 0)


def test_a_bad_list_changes_nothing(session: Session) -> None:
    grease = an_item(session)
    a_lot(session, grease, "5")
    a_lot(session, grease, "5")
    session.commit()
    text = "key,name,unit,on_hand\ngloves,Gloves,pair,3\nvacuum-grease,Vacuum grease,g,7\n"
    with pytest.raises(Refused) as refused:
        exchange.bring(session, WHO, text, AT)
    assert refused.value.fields == {"line 3, on_hand": "There are 2 lots: count each on the count sheet"}
    session.rollback()
    assert [item.key for item in session.exec(select(Item)).all()] == ["vacuum-grease"]


def test_every_movement_stands_in_the_list_of_movements(session: Session) -> None:
    grease = an_item(session)
    a_lot(session, grease, "50", code="=K7")
    service.use(session, WHO, key_of(grease), Decimal("0.4"), "=cmd()", AT)
    rows = list(csv.DictReader(io.StringIO(exchange.movements_text(session, "comma"))))
    assert [(row["item"], row["kind"], row["change"]) for row in rows] == [
        ("vacuum-grease", "received", "50"),
        ("vacuum-grease", "used", "-0.4"),
    ]
    assert rows[1]["because"] == "'=cmd()"


def test_the_first_set_is_a_sound_list_with_cautions_where_hands_move() -> None:
    rows = {row.key: row for row in starter.starter()}
    assert len(rows) == 45
    assert all(not spec.faults(row) for row in rows.values())
    for key, code in (
        ("isopropanol", "S11"),
        ("acetone", "S11"),
        ("cryogenic-varnish", "S11"),
        ("epoxy", "S12"),
        ("liquid-nitrogen", "S01"),
        ("nitrogen", "S01"),
        ("disc-spring", "S10"),
        ("helium", "S06"),
    ):
        assert code in rows[key].cautions, key
    named = {row["what"] for item in rows.values() for row in (*item.allowed, *item.forbidden)}
    assert {what for what in named if spec.KEY.fullmatch(what)} <= set(rows)


def test_the_first_set_is_laid_out_into_an_empty_room_only(session: Session) -> None:
    assert starter.is_empty(session)
    with pytest.raises(Refused, match="Nothing was stored"):
        starter.lay_out(session, WHO, ["no-such-thing"], AT)
    made = starter.lay_out(session, WHO, ["gloves", "wipes"], AT)
    assert [item.key for item in made] == ["gloves", "wipes"]
    with pytest.raises(Refused, match="Nothing was stored"):
        starter.lay_out(session, WHO, ["acetone"], AT)
