"""What a plot draws: no spike lost, broken at gaps, and right on the laboratory's clock."""

from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.cooldowns.plots import LEFT, RIGHT, TALL, TOP, Curve, Drawing, Mark, Phase, Predicted, draw
from server.cooldowns.plots_axes import scale, times

VIENNA = "Europe/Vienna"
BEGIN = datetime(2026, 3, 14, tzinfo=ZoneInfo(VIENNA)).timestamp()


def curve(
    values: list[float], step_s: float = 60.0, label: str = "Platform", unit: str = "K", decades: bool = False
) -> Curve:
    numbers = np.array(values, np.float64)
    times_s = np.array([BEGIN + step_s * n for n in range(len(values))], np.float64)
    return Curve(label, unit, times_s, numbers, numbers, 4 * step_s, decades)


def drawn(*curves: Curve, **more: object) -> Drawing:
    return draw(curves, BEGIN, BEGIN + 3600.0, VIENNA, **more)  # type: ignore[arg-type]


def points(path: str) -> list[tuple[float, float]]:
    pairs = path.replace("M", "L").split("L")[1:]
    return [(float(pair.split()[0]), float(pair.split()[1])) for pair in pairs]


def test_the_ends_of_the_time_axis_are_the_ends_of_the_panel() -> None:
    [panel] = drawn(curve([3.0] * 61)).panels
    found = points(panel.curves[0].path)
    assert (found[0][0], found[-1][0]) == (LEFT, RIGHT)


def test_a_curve_is_drawn_from_its_lowest_to_its_highest_in_each_stretch() -> None:
    both = Curve(
        "Shield", "K", np.array([BEGIN, BEGIN + 60]), np.array([30.0, 31.0]), np.array([35.0, 36.0]), 300.0
    )
    [panel] = drawn(both).panels
    assert len(points(panel.curves[0].path)) == 4


def test_a_gap_breaks_the_curve_and_a_reading_alone_is_a_dot() -> None:
    lone = Curve(
        "Shield", "K", BEGIN + np.array([0.0, 60, 2000, 3000, 3060]), np.arange(5.0), np.arange(5.0), 200.0
    )
    [panel] = drawn(lone).panels
    assert panel.curves[0].path.count("M") == 3
    assert len(points(panel.curves[0].path)) == 6


@pytest.mark.parametrize(("axis", "decades"), [("", True), ("linear", False), ("log", True)])
def test_a_quantity_over_decades_has_an_axis_of_decades_unless_one_says_otherwise(
    axis: str, decades: bool
) -> None:
    [panel] = drawn(curve([300.0, 30.0, 3.0], decades=True), axis=axis).panels
    assert panel.decades is decades
    middle = points(panel.curves[0].path)[1][1]
    assert (middle == pytest.approx(TOP + TALL / 2, abs=1)) is decades


def test_a_log_axis_of_what_is_not_above_zero_is_linear() -> None:
    assert drawn(curve([-1.0, 3.0]), axis="log").panels[0].decades is False


def test_each_unit_has_its_panel_and_what_has_no_reading_is_named() -> None:
    found = drawn(
        curve([3.0, 3.1]), curve([1e-6, 1e-7], label="Vacuum", unit="mbar"), curve([], label="Mount")
    )
    assert [panel.unit for panel in found.panels] == ["K", "mbar"]
    assert found.unseen == ("Mount",)
    assert found.panels[1].top > found.panels[0].bottom


def test_labels_beside_the_curves_do_not_cover_each_other() -> None:
    found = drawn(*(curve([3.0 + n / 1000, 3.0], label=f"Channel {n}") for n in range(12)))
    heights = sorted(row.label.y for row in found.panels[0].curves)
    assert min(after - before for before, after in pairwise(heights)) >= 14.9
    assert heights[-1] <= found.panels[0].bottom + 1


def test_phases_bands_and_marks_stand_where_their_times_are() -> None:
    found = drawn(
        curve([300.0, 3.0], step_s=3600.0),
        phases=[Phase("cooling", BEGIN + 900, BEGIN + 1800), Phase("yesterday", BEGIN - 900, BEGIN - 600)],
        predicted=[Predicted("expected", "K", [BEGIN, BEGIN + 3600], [3.0, 3.0], [3.4, 3.4])],
        marks=[Mark("10 K", BEGIN + 1800), Mark("base", BEGIN + 1800, 3.2, "K"), Mark("later", BEGIN + 9999)],
    )
    [phase] = found.phases
    assert (phase.x, phase.width) == (LEFT + (RIGHT - LEFT) / 4, (RIGHT - LEFT) / 4)
    assert [mark.text for mark in found.marks] == ["10 K"]
    assert found.panels[0].points[0].x == found.marks[0].x
    assert found.panels[0].bands[0].path.endswith("Z")


def shown(begin: datetime, hours: float) -> list[tuple[str, str]]:
    begin_s = begin.timestamp()
    found = times(begin_s, begin_s + hours * 3600, VIENNA)
    zone = ZoneInfo(VIENNA)
    return [(tick.label, f"{datetime.fromtimestamp(tick.value, zone):%H:%M%z}") for tick in found]


def test_ticks_are_round_on_the_laboratorys_clock_across_the_change_in_spring() -> None:
    """In Vienna 29 March 2026 has no hour from two to three."""
    begin = datetime(2026, 3, 28, 23, tzinfo=ZoneInfo(VIENNA))
    assert shown(begin, 8) == [
        ("23:00", "23:00+0100"), ("29 Mar", "00:00+0100"), ("01:00", "01:00+0100"), ("03:00", "03:00+0200"),
        ("04:00", "04:00+0200"), ("05:00", "05:00+0200"), ("06:00", "06:00+0200"), ("07:00", "07:00+0200"),
        ("08:00", "08:00+0200"),
    ]  # fmt: skip


def test_an_hour_that_comes_twice_has_two_ticks() -> None:
    begin = datetime(2026, 10, 25, 1, tzinfo=ZoneInfo(VIENNA))
    assert [label for label, _ in shown(begin, 4)].count("02:00") == 2


def test_days_begin_at_local_midnight_on_both_sides_of_a_change() -> None:
    assert {clock[:5] for _, clock in shown(datetime(2026, 10, 20, 5, tzinfo=ZoneInfo(VIENNA)), 240)} == {
        "00:00"
    }


@given(st.floats(1.0, 3e8), st.floats(0.0, 1.7e9))
def test_a_time_axis_has_few_ticks_within_its_ends(span_s: float, begin_s: float) -> None:
    found = times(begin_s, begin_s + span_s, VIENNA)
    assert len(found) <= 30
    assert all(begin_s <= tick.value <= begin_s + span_s for tick in found)


@given(st.floats(-1e6, 1e6), st.floats(0, 1e6), st.booleans())
def test_an_axis_of_values_holds_its_ends_and_has_ticks(low: float, more: float, decades: bool) -> None:
    found = scale(low, low + more, decades)
    assert -1e-9 <= found.share(low) <= found.share(low + more) <= 1 + 1e-9
    ticks = found.ticks()
    assert 1 <= len(ticks) <= 16
    assert all(-0.01 <= found.share(tick.value) <= 1.01 for tick in ticks)
