"""Forms read once: moments in the laboratory's zone, where its clock changes too.

The changes of 2026 in central Europe, 29 March and 25 October at 01:00 UTC, are those of the zone database;
the rule behind them is that of directive 2000/84/EC.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import Refused
from server.web.forms import Form

ZONE = "Europe/Vienna"


def _read(text: str) -> datetime | None:
    return Form([("at", text)]).moment("at", ZONE)


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("2026-03-14 11:20", datetime(2026, 3, 14, 10, 20, tzinfo=UTC)),
        ("2026-03-29 01:59", datetime(2026, 3, 29, 0, 59, tzinfo=UTC)),
        ("2026-03-29 03:00", datetime(2026, 3, 29, 1, 0, tzinfo=UTC)),
        ("2026-10-25 03:00", datetime(2026, 10, 25, 2, 0, tzinfo=UTC)),
        ("2026-10-25 02:30+02:00", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("2026-10-25 02:30+01:00", datetime(2026, 10, 25, 1, 30, tzinfo=UTC)),
        ("", None),
    ],
)
def test_a_time_is_read_in_the_laboratorys_zone(typed: str, read: datetime | None) -> None:
    assert _read(typed) == read


def test_a_time_that_the_clock_leaves_out_is_refused() -> None:
    with pytest.raises(Refused) as refused:
        _read("2026-03-29 02:30")
    assert "leave 02:30 out" in refused.value.fields["at"]


def test_a_time_shown_twice_is_asked_again_with_both_offsets() -> None:
    with pytest.raises(Refused) as refused:
        _read("2026-10-25 02:30")
    assert "2026-10-25 02:30+02:00" in refused.value.fields["at"]
    assert "2026-10-25 02:30+01:00" in refused.value.fields["at"]


@pytest.mark.parametrize(
    "typed", ["yesterday", "2026-02-30 10:00", "0001-01-01 00:00", "9999-12-31 23:59-14:00"]
)
def test_what_is_no_time_is_refused(typed: str) -> None:
    with pytest.raises(Refused, match="cannot be read"):
        _read(typed)


@given(st.integers(0, 2 * 366 * 24 * 60))
def test_whatever_is_taken_is_shown_again_as_typed(minutes: int) -> None:
    typed = (datetime(2025, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)).astimezone(ZoneInfo(ZONE))
    assert _read(f"{typed:%Y-%m-%d %H:%M%z}") == typed.astimezone(UTC)
