"""The wire map: what stands where in the drawing, and what is in the table under it."""

from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

from server.cryostats import wire_map
from server.cryostats.models import Cryostat
from tests.factories import EVERY_STAGE, lid, put, wire

AT = datetime(2026, 3, 14, tzinfo=UTC)


def sheet(*rows: dict[str, Any], stages: tuple[str, ...] = EVERY_STAGE) -> wire_map.WireMapView:
    cryostat = Cryostat(slug="a", name="A", stages=list(stages), made_at=AT)
    return wire_map.sheet(cryostat, 1, None, {row["key"]: put(row) for row in rows}, AT)


def test_a_run_goes_from_where_its_first_length_begins_to_where_it_lands() -> None:
    view = sheet(wire(), wire("inner", lengths_m={"shield-mount": 0.2}, ends_on="mount", lags=[]))
    at = {stage.words: stage.y for stage in view.panels[0].stages}
    outer, inner = view.panels[0].wires
    assert (outer.top_y, outer.bottom_y) == (at["vessel"], at["platform"])
    assert (inner.top_y, inner.bottom_y) == (at["shield"], at["mount"])
    assert [text.words for text in inner.lengths] == ["200 mm"]
    assert at["shield"] < inner.lengths[0].y < at["mount"]


def test_every_state_of_a_lag_has_its_own_mark_at_its_stage() -> None:
    states = ["good", "loose", "none", "not-recorded"]
    lags = [{"stage": stage, "state": state} for stage, state in zip(EVERY_STAGE[1:], states, strict=True)]
    view = sheet(wire(lags=lags, ends_on="sample"))
    at = {stage.y: stage.words for stage in view.panels[0].stages}
    marks = [(at[mark.y], mark.style) for mark in view.panels[0].wires[0].marks]
    assert marks == list(zip(EVERY_STAGE[1:], states, strict=True))


def test_runs_keep_their_numbers_and_many_go_on_in_a_further_panel() -> None:
    view = sheet(lid(), *(wire(f"w{number}") for number in range(30)))
    assert [len(panel.wires) for panel in view.panels] == [12, 12, 6]
    numbers = [one.number for panel in view.panels for one in panel.wires]
    assert numbers == [f"W{number}" for number in range(1, 31)] == [row.number for row in view.rows]
    assert view.height > sum(panel.height for panel in view.panels)


def test_conductors_are_counted_with_the_traces_of_ribbons() -> None:
    view = sheet(wire(count=24), {"key": "flat", "kind": "ribbon", "count": 2, "traces": 10})
    assert view.conductors == 44


def test_nothing_is_drawn_outside_the_sheet_or_over_its_neighbour() -> None:
    view = sheet(*(wire(f"w{number}", label="A very long name of a loom indeed") for number in range(12)))
    places = [one.x for one in view.panels[0].wires]
    steps = [right - left for left, right in pairwise(places)]
    assert view.left < min(places) < max(places) < view.right
    for one in view.panels[0].wires:
        assert max(len(words) for words in one.foot) * wire_map.SIGN <= min(steps)


def test_what_nobody_answered_is_marked_as_a_default_and_an_empty_sheet_is_one() -> None:
    view = sheet({"key": "a", "kind": "heater-leads"})
    assert (view.rows[0].count, view.rows[0].size) == (2, "AWG 32 (default)")
    assert sheet(lid()).panels == ()
