"""Log files as loggers write them: five awkward formats, all invented, and what is refused with its line."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.cooldowns.log_cells import Layout, Unreadable, take_apart
from server.cooldowns.log_files import Kept, Log, Spec, propose, read, spec_faults
from server.cooldowns.log_times import BadTime, Clock, localised, stamps, unix

VIENNA = "Europe/Vienna"
CHANNELS = {
    1: Kept("Shield", "K"),
    2: Kept("Platform", "K"),
    3: Kept("Vacuum", "mbar"),
    4: Kept("Heater", "W"),
}

SEMICOLONS = """Logger 7, channel list follows
Begin: 25.10.2026 02:58:00

Zeit time;Shield;Platform;Vacuum
;K;mK;mbar
25.10.2026 02:58:00;31,25;3200,5;1,2E-6
25.10.2026 02:59:00;31,50;---;1,3E-6
25.10.2026 02:00:00;31,75;3201,5;OVL
25.10.2026 02:01:00;32,00;3202,0;1,5E-6
"""
"""Semicolons, decimal comma, a line of units, words for gaps, and the hour that comes twice."""

NUMPY = """# time [s] shield [K] platform [K] vacuum [Pa]
# begun by hand after the pump was off
0.000e+00 3.125e+01 3.2005e+00 1.2e-04
# the heater was on from here
6.000e+01 3.150e+01 nan 1.3e-04

1.200e+02 3.175e+01 3.2015e+00 1.4e-04
1.8
"""
"""Spaces, a head behind a comment's mark, comments in between, elapsed seconds, a last line cut off."""

QUOTED = """"Date","Time of day","Shield (K)","Note","Heater / mW"
"03/14/2026","1:05:00 PM","31,25","all well, so far","20"
"03/14/2026","1:06:00 PM","31,50","","20,5"
"Date","Time of day","Shield (K)","Note","Heater / mW"
"03/14/2026","1:07:00 PM","31,75","",""
"""
"""Every cell quoted, commas within, day and clock apart, twelve hours, the head again after a restart."""

TABS = (
    "\ufefftimestamp\tSHIELD_K\tplatform (°C)\r\n1773486000000\t31.25\t-269.95\r\n1773486060000\t31.5\t\r\n"
)
"""Tabs, carriage returns, a mark at the front, milliseconds since 1970, degrees Celsius."""

ZONED = """time,Platform [mK],Shield [K]
2026-03-29T01:59:30+01:00,3200,31.25
2026-03-29T03:00:30+02:00,3201,31.50
2026-03-29T01:01:30Z,3202,31.75
"""
"""Commas and ISO times, each with its zone, over the hour that is left out in spring."""


def taken(text: str, **more: str) -> tuple[Layout, Spec, Log]:
    layout = take_apart(text.encode())
    spec = propose(layout, CHANNELS)
    spec = Spec(spec.roles, spec.units, **more)
    assert spec_faults(layout, spec, CHANNELS) == {}
    return layout, spec, read(layout, spec, CHANNELS, VIENNA)


def as_proposed(content: bytes) -> Log:
    layout = take_apart(content)
    return read(layout, propose(layout, CHANNELS), CHANNELS, VIENNA)


def at(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def test_semicolons_a_decimal_comma_units_on_a_line_of_their_own_and_the_hour_that_comes_twice() -> None:
    layout, _, log = taken(SEMICOLONS)
    assert (layout.called, layout.decimal_comma) == ("semicolon", True)
    assert log.values["Shield"].tolist() == [31.25, 31.5, 31.75, 32.0]
    assert log.values["Platform"][[0, 2, 3]].tolist() == [3.2005, 3.2015, 3.202]
    assert np.isnan(log.values["Platform"][1])
    assert np.isnan(log.values["Vacuum"][2])
    assert log.seconds.tolist() == [at(f"2026-10-25T{t}Z") for t in ("00:58", "00:59", "01:00", "01:01")]
    assert log.gaps == 2
    assert "2 lines are of the first time, 2 of the second" in log.notes[0]


def test_spaces_a_head_in_a_comment_and_elapsed_seconds() -> None:
    layout, spec, log = taken(NUMPY, start="2026-03-14T10:00:00+00:00")
    assert spec.roles[0] == "elapsed"
    assert log.seconds.tolist() == [at("2026-03-14T10:00Z") + second for second in (0.0, 60.0, 120.0)]
    assert log.values["Vacuum"] == pytest.approx([1.2e-6, 1.3e-6, 1.4e-6])
    assert layout.remarks == ("Line 8, the last, is cut off and was left out",)


def test_elapsed_seconds_need_the_start() -> None:
    layout = take_apart(NUMPY.encode())
    assert "start" in spec_faults(layout, propose(layout, CHANNELS), CHANNELS)


def test_quoted_cells_twelve_hours_and_the_head_again() -> None:
    layout, spec, log = taken(QUOTED)
    assert spec.roles == ("date", "clock", "channel:1", "", "channel:4")
    assert log.seconds[0] == at("2026-03-14T12:05Z")
    assert log.values["Shield"].tolist() == [31.25, 31.5, 31.75]
    assert log.values["Heater"][:2] == pytest.approx([0.020, 0.0205])
    assert "The head stands in the file 1 times more" in layout.remarks[0]


def test_tabs_milliseconds_and_degrees_celsius() -> None:
    layout, spec, log = taken(TABS)
    assert (layout.called, spec.roles[0]) == ("tab", "unix")
    assert log.seconds.tolist() == [1773486000.0, 1773486060.0]
    assert log.values["Platform"][0] == pytest.approx(3.20)
    assert np.isnan(log.values["Platform"][1])


def test_times_with_their_zone_are_what_they_say() -> None:
    _, _, log = taken(ZONED)
    assert log.seconds.tolist() == [at(f"2026-03-29T{t}Z") for t in ("00:59:30", "01:00:30", "01:01:30")]
    assert log.values["Platform"] == pytest.approx([3.2, 3.201, 3.202])


def test_a_log_of_one_channel_without_a_head_can_be_described_by_hand() -> None:
    layout = take_apart(b"2026-03-14 11:00:00,3.2\n2026-03-14 11:00:05,3.3\n")
    assert [column.name for column in layout.columns] == ["column 1", "column 2"]
    spec = Spec(("stamp", "channel:2"), ("", "K"), zone="utc")
    assert read(layout, spec, CHANNELS, VIENNA).seconds[0] == at("2026-03-14T11:00Z")


@pytest.mark.parametrize(
    ("text", "line", "field", "words"),
    [
        (b"", 0, "", "empty"),
        (b"# only\n# comments\n", 0, "", "comments only"),
        (b"Dear all,\nthe log is attached.\nBest\n", 0, "", "separator"),
        (
            b"time,Shield\n2026-03-14 11:00:00,3.2\n2026-03-14 11:00:05\n2026-03-14 11:00:10,3.3\n",
            3,
            "",
            "1 cells",
        ),
        (b"time,Shield\n2026-03-14 11:00:00,3.2\n\x00", 3, "", "no text"),
        (b"time,Shield\n2026-03-14 11:00:00,3.2\n2026-03-14 11:00:05,warm\n", 3, "Shield", "no number"),
        (b"time,Shield\n2026-03-14 11:00:00,3.2\n2026-03-14 11:00:05,1_0\n", 3, "Shield", "no number"),
        (b"time,Shield\n2026-03-14 11:00:00,3.2\n2026-02-30 11:00:05,3.2\n", 3, "time", "no day"),
        (
            b"time,Shield\n2026-03-14 11:00:00,3.2\nyesterday,3.2\n2026-03-14 11:00:05,3\n",
            3,
            "time",
            "no day",
        ),
        (b"time,Shield\n2026-03-14 11:00:00,3.2\n2026-03-14 31:00:05,3.2\n", 3, "time", "no clock"),
        (b"time,Shield\n2026-03-29 01:59:00,3.2\n2026-03-29 02:30:00,3.3\n", 3, "time", "did not happen"),
        (b"time,Shield\n03/04/2026 11:00:00,3.2\n", 2, "time", "both ways"),
        (b"time,Shield\n2026-03-14T11:00:00Z,3.2\n2026-03-14T11:00:05,3.2\n", 3, "time", "no zone"),
        (b"time,Shield\n1773486000,3.2\nnan,3.2\n", 3, "time", "without its time"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_line_and_column(
    text: bytes, line: int, field: str, words: str
) -> None:
    with pytest.raises(Unreadable) as caught:
        as_proposed(text)
    fault = caught.value.faults[0]
    assert (fault.line, fault.field) == (line, field)
    assert words in fault.text


def test_every_bad_cell_is_named_not_only_the_first() -> None:
    lines = "\n".join(f"2026-03-14 11:00:{n:02d},{'x' if n % 10 == 3 else 3.2}" for n in range(60))
    layout = take_apart(f"time,Shield\n{lines}\n".encode())
    with pytest.raises(Unreadable) as caught:
        read(layout, propose(layout, CHANNELS), CHANNELS, VIENNA)
    assert [fault.line for fault in caught.value.faults] == [5, 15, 25, 35, 45, 55]


@pytest.mark.parametrize(
    ("order", "cells", "day"),
    [("day", "03/04/2026 11:00", 3), ("month", "03/04/2026 11:00", 4), ("", "03.04.2026 11:00", 3)],
)
def test_a_date_that_can_be_read_both_ways_is_read_as_said(order: str, cells: str, day: int) -> None:
    found = stamps([cells], Clock("UTC", order)).seconds[0]
    assert datetime.fromtimestamp(found, UTC).day == day


@pytest.mark.parametrize(
    "cell",
    ["2026-03-14 11:20:05", "2026/03/14 11:20:05", "14.3.2026 11:20:05", "14-Mar-2026 11:20:05",
     "03/14/2026 11:20:05 AM", "14/03/26 11:20:05,0", "2026-03-14T11:20:05.000Z", "2026-03-14 11:20:05 UTC",
     "14.03.2026_11:20:05", "2026-03-14 12:20:05+0100"],
)  # fmt: skip
def test_a_moment_is_the_same_in_every_spelling(cell: str) -> None:
    assert stamps([cell], Clock("UTC")).seconds.tolist() == [at("2026-03-14T11:20:05Z")]


@settings(max_examples=60)
@given(
    start=st.datetimes(datetime(2024, 1, 1), datetime(2027, 12, 31)),  # noqa: DTZ001 - naive on purpose
    step_s=st.sampled_from([1.0, 7.0, 60.0, 900.0]),
    zone=st.sampled_from([VIENNA, "America/St_Johns", "Australia/Lord_Howe", "UTC"]),
    rows=st.integers(2, 200),
)
def test_a_steady_log_on_any_zones_clock_is_told_right_across_a_change(
    start: datetime, step_s: float, zone: str, rows: int
) -> None:
    """Against the standard library, which is told by `fold` what the log tells by its order."""
    begun = start.replace(tzinfo=UTC, microsecond=0)
    true = [begun + timedelta(seconds=step_s * row) for row in range(rows)]
    cells = [moment.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M:%S") for moment in true]
    found = stamps(cells, Clock(zone))
    doubtful = any("came twice" in note and "by their order" not in note for note in found.notes)
    if not doubtful:
        assert found.seconds.tolist() == [moment.timestamp() for moment in true]


@pytest.mark.parametrize("shift_h", [-3, -1, 0, 1])
def test_half_a_repeated_hour_is_told_by_the_lines_beside_it(shift_h: int) -> None:
    """02:30 to 03:10 after the change, and 01:30 to 02:20 before it, in Vienna on 25 October 2026."""
    begun = (
        datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
        if shift_h > 0
        else datetime(2026, 10, 24, 23, 30, tzinfo=UTC)
    )
    true = [begun + timedelta(minutes=row) for row in range(41 if shift_h > 0 else 51)]
    naive = [moment.astimezone(ZoneInfo(VIENNA)).replace(tzinfo=UTC).timestamp() * 1000 for moment in true]
    found = localised(np.array(naive, np.int64), VIENNA)
    assert found.seconds.tolist() == [moment.timestamp() for moment in true]


def test_the_newest_line_may_stand_first() -> None:
    naive = np.array([at(f"2026-10-25T{t}Z") * 1000 for t in ("02:01", "02:00", "02:59", "02:58")], np.int64)
    found = localised(naive, VIENNA)
    wanted = [at(f"2026-10-25T{t}Z") for t in ("01:01", "01:00", "00:59", "00:58")]
    assert found.seconds.tolist() == wanted
    assert found.notes[0] == "The newest line stands first"


def test_a_time_that_is_none_is_refused_by_its_row() -> None:
    with pytest.raises(BadTime) as caught:
        unix(np.array([1.7e9, np.nan]))
    assert caught.value.row == 1


@pytest.mark.parametrize(
    ("roles", "units", "field"),
    [
        (("", "channel:1"), ("", "K"), "column.0"),
        (("stamp", ""), ("", ""), "columns"),
        (("stamp", "channel:9"), ("", "K"), "column.1"),
        (("stamp", "channel:1"), ("", "mbar"), "column.1"),
        (("stamp", "channel:x"), ("", "K"), "column.1"),
        (("date", "channel:1"), ("", "K"), "column.0"),
        (("elapsed", "channel:1"), ("K", "K"), "column.0"),
        (("stamp",), ("",), "file"),
    ],
)
def test_a_description_that_cannot_be_is_said_at_its_column(
    roles: tuple[str, ...], units: tuple[str, ...], field: str
) -> None:
    layout = take_apart(b"time,Shield\n2026-03-14 11:00:00,3.2\n")
    start = "2026-03-14T10:00:00+00:00"
    assert field in spec_faults(layout, Spec(roles, units, start=start), CHANNELS)


@settings(max_examples=80)
@given(st.binary(max_size=300) | st.text('0123456789.,;:-T \t\n#"aeKZ', max_size=300).map(str.encode))
def test_whatever_is_sent_is_read_or_refused_and_nothing_else(content: bytes) -> None:
    with suppress(Unreadable):
        layout = take_apart(content)
        spec = propose(layout, CHANNELS)
        if not spec_faults(layout, spec, CHANNELS):
            log = read(layout, spec, CHANNELS, VIENNA)
            assert all(len(log.seconds) == len(values) for values in log.values.values())
