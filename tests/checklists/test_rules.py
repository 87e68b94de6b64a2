"""What a list may hold, where one stands, what is read at a line. No database.

Torques by arithmetic: an inch-pound is 0.112985 N·m (NIST SP 811, 2008, appendix B.8).
"""

from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.cautions.cards import CARDS
from server.checklists import records
from server.checklists.lines import EACH, RECORDS, Line, as_json, from_json
from server.checklists.models import Answer
from server.checklists.own_words import GATES, LISTS
from server.checklists.rules import answer_faults, list_faults, standing_of
from tests.factories import AT

TORQUE = Line("mount", "Mount", "Why", "torque", thread="M3", stated_N_m=0.56)
WARM = Line("all-warm", "Coldest", "Why", "number", unit="K", low=290.0, gate=True)
SPRINGS = Line("springs", "Springs", "Why", "springs", of=8)


def answered(outcome: str, seconds: float = 0.0) -> Answer:
    return Answer(
        checklist_id=1,
        line_key="x",
        text="x",
        outcome=outcome,
        at=AT + timedelta(seconds=seconds),
        by_name="Ada",
    )


@pytest.mark.parametrize("key", LISTS)
def test_the_programs_own_lists_keep_their_own_rules(key: str) -> None:
    lines = LISTS[key].lines
    assert list_faults(key, lines, "Own") == {}
    assert {line.key for line in lines if line.gate} == set(GATES.get(key, ()))
    codes = {card.code for card in CARDS}
    for line in lines:
        assert set(line.cautions) <= codes
        assert from_json(as_json(line)) == line


def test_gates_stand_only_where_venting_and_cooling_need_them() -> None:
    # Sensors above 290 K, oxygen read, relief free; pressure entered: common practice, no source.
    assert GATES == {"before-cooling": ("pressure",), "before-warming": ("relief-free", "all-warm", "oxygen")}


@pytest.mark.parametrize(
    ("code", "list_key", "line"),
    [
        ("S04", "before-closing", "outer-windows"),
        ("S19", "before-closing", "sample"),
        ("S02", "before-warming", "relief-free"),
        ("S05", "before-warming", "all-warm"),
        ("S01", "before-warming", "oxygen"),
        ("S01", "before-warming", "nitrogen-shut"),
        ("S03", "before-warming", "nitrogen"),
        ("S07", "before-warming", "lid"),
        ("S08", "before-cooling", "beams"),
        ("S06", "vibration-installation", "hoses"),
        ("S01", "newcomer-training", "nitrogen"),
    ],
)
def test_a_caution_stands_at_the_line_where_the_hand_moves(code: str, list_key: str, line: str) -> None:
    assert code in next(row for row in LISTS[list_key].lines if row.key == line).cautions


@pytest.mark.parametrize(
    ("line", "field"),
    [
        (Line("own-1", " ", "Why"), "text"),
        (Line("own-1", "x" * 301, "Why"), "text"),
        (Line("own-1", "x", " "), "why"),
        (Line("own-1", "x", "y", "song"), "record"),
        (Line("own-1", "x", "y", each="moon"), "each"),
        (Line("own-1", "x", "y", gate=True), "gate"),
        (Line("own-1", "x", "y", "number", unit="furlong"), "unit"),
        (Line("own-1", "x", "y", "number", low=2.0, high=1.0), "low"),
        (Line("own-1", "x", "y", "count", of=-1), "of"),
        (Line("own-1", "x", "y", "tick", thread="M3"), "thread"),
        (Line("NOT A KEY", "x", "y"), "text"),
    ],
)
def test_a_line_that_cannot_be_is_refused_at_its_field(line: Line, field: str) -> None:
    assert set(list_faults("before-cooling", [line], "Because")) == {f"lines.0.{field}"}


def test_a_list_needs_lines_a_reason_and_keys_of_their_own() -> None:
    assert set(list_faults("before-cooling", [], "")) == {"lines", "reason"}
    twice = [Line("own-1", "x", "y"), Line("own-1", "z", "y")]
    assert set(list_faults("before-cooling", twice, "Because")) == {"lines.1.text"}


def test_a_gate_holds_until_its_line_is_done_and_says_why() -> None:
    lines = [WARM, Line("x", "Other", "Why")]
    assert standing_of("before-warming", lines, {}).reasons == ("Coldest: not answered yet",)
    failing = standing_of("before-warming", lines, {"all-warm": answered("failed")})
    assert (failing.gate_open, failing.reasons, failing.failing) == (
        False,
        ("Coldest: not right",),
        ("Coldest",),
    )
    done = standing_of("before-warming", lines, {"all-warm": answered("done")})
    assert (done.gate_open, done.open_lines, done.complete) == (True, ("Other",), False)


def test_a_line_that_is_no_gate_holds_nothing() -> None:
    stands = standing_of("before-closing", [Line("x", "Other", "Why")], {"x": answered("skipped")})
    assert (stands.gate_open, stands.skipped, stands.complete) == (True, ("Other",), True)


@pytest.mark.parametrize(("seconds", "asks"), [(100.0, True), (200.0, False)])
def test_all_of_it_in_less_than_three_minutes_is_asked_about(seconds: float, asks: bool) -> None:
    # Three minutes for the list before closing: common practice, no source.
    lines = [Line("x", "One", "Why"), Line("y", "Two", "Why")]
    stands = standing_of("before-closing", lines, {"x": answered("done"), "y": answered("done", seconds)})
    assert (stands.hurried_s is not None) is asks


@pytest.mark.parametrize(
    ("words", "passes"),
    [("", False), ("no", False), ("n/a.", False), ("no magnet", True), ("---- !!", False)],
)
def test_leaving_out_needs_two_words(words: str, passes: bool) -> None:
    assert (answer_faults(SPRINGS, "skipped", words) == {}) is passes


def test_a_gate_is_never_left_out() -> None:
    assert "words" in answer_faults(WARM, "skipped", "no time today")


@pytest.mark.parametrize(
    ("line", "typed", "field"),
    [
        (TORQUE, {"value": "0.5"}, "value"),
        (TORQUE, {"value": "5 mbar"}, "value"),
        (TORQUE, {"value": ""}, "value"),
        (TORQUE, {"value": "-1 N·m"}, "value"),
        (TORQUE, {"value": "0.4–0.6 N·m"}, "value"),
        (TORQUE, {"value": "?"}, "value"),
        (WARM, {"value": "281"}, "value"),
        (WARM, {"value": "nan"}, "value"),
        (SPRINGS, {"n": "7", "of": "8", "right_way_up": "yes"}, "n"),
        (SPRINGS, {"n": "8", "of": "8"}, "right_way_up"),
        (SPRINGS, {"n": "x", "of": "8", "right_way_up": "yes"}, "n"),
        (SPRINGS, {"n": "99999", "of": "8", "right_way_up": "yes"}, "n"),
        (Line("t", "Text", "Why", "text"), {"text": " "}, "text"),
        (Line("s", "Second", "Why", second=True), {}, "second"),
        (Line("s", "Second", "Why", second=True), {"second": "ada steward"}, "second"),
    ],
)
def test_what_does_not_add_up_is_asked_for_at_its_field(
    line: Line, typed: dict[str, str], field: str
) -> None:
    record, faults = records.read(line, typed, "done")
    assert set(records.faults(line, record, "done", "Ada Steward") | faults) == {field}


@pytest.mark.parametrize(
    ("line", "typed", "record"),
    [
        (TORQUE, {"value": "5 in·lbf"}, {"value": pytest.approx(0.5649, rel=1e-4)}),
        (TORQUE, {"value": "0.56 N·m"}, {"value": 0.56}),
        (WARM, {"value": "20 °C"}, {"value": 293.15}),
        (SPRINGS, {"n": "8", "of": "8", "right_way_up": "yes"}, {"n": 8, "of": 8, "right_way_up": True}),
        (Line("s", "Look", "Why", second=True), {"second": "Ben"}, {"second": "Ben"}),
    ],
)
def test_what_was_typed_is_kept_in_SI(line: Line, typed: dict[str, str], record: dict[str, Any]) -> None:
    found, faults = records.read(line, typed, "done")
    assert (found, faults, records.faults(line, found, "done", "Ada")) == (record, {}, {})


def test_a_line_that_is_not_right_may_say_as_little_as_it_likes() -> None:
    assert records.read(TORQUE, {}, "failed") == ({}, {})
    assert records.faults(TORQUE, {}, "failed", "Ada") == {}


def test_a_torque_is_held_against_the_stated_one_first_and_never_approved() -> None:
    assert records.remarks(TORQUE, {"value": 0.58}) == []
    [other] = records.remarks(TORQUE, {"value": 0.70})
    assert "Stated here is 0.56 N·m" in other
    assert "come first" in other
    # An M3 at 5 N·m: more than any screw of that size bears (check_screw, NASA TM-106943).
    both = records.remarks(TORQUE, {"value": 5.0})
    assert len(both) == 2
    assert "could yield" in both[1]
    assert "no approval" in both[1]
    for text in (other, *both):
        assert "safe" not in text


def test_a_torque_of_an_unknown_thread_is_held_against_nothing() -> None:
    assert records.remarks(Line("x", "x", "y", "torque"), {"value": 5.0}) == []


@given(
    st.builds(
        Line,
        key=st.just("own-1"),
        text=st.text(min_size=1, max_size=40),
        why=st.text(max_size=40),
        record=st.sampled_from(list(RECORDS)),
        low=st.none() | st.floats(0, 1),
        of=st.none() | st.integers(0, 10),
        second=st.booleans(),
        cautions=st.lists(st.sampled_from(["S01", "S05"]), max_size=2).map(tuple),
        each=st.sampled_from(list(EACH)),
    )
)
def test_a_line_comes_back_from_its_row_as_it_went(line: Line) -> None:
    assert from_json(as_json(line)) == line
