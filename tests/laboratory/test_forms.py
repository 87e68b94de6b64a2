"""Reading the laboratory's settings."""

from datetime import time

import pytest

from server.laboratory.forms import read, unreadable
from server.web.forms import Form


@pytest.mark.parametrize(
    ("written", "clock"),
    [
        ("08:30", time(8, 30)),
        ("8:30", time(8, 30)),
        ("8.30", time(8, 30)),
        ("8", time(8)),
        ("0:00", time(0)),
        ("24:00", None),
        ("8:60", None),
        ("eight", None),
        ("", None),
        ("-1", None),
        ("8:-5", None),
        ("8:30:15", None),
        ("1e1", None),
        ("²", None),
    ],
)
def test_a_time_of_day_is_read_as_people_write_it(written: str, clock: time | None) -> None:
    typed = read(Form([("opens", written), ("closes", "19:00")]))
    assert typed.opens == clock
    assert set(unreadable(typed)) == (set() if clock is not None else {"opens"})


def test_working_days_are_kept_in_order_and_once() -> None:
    typed = read(Form([("working_days", day) for day in "41301"]))
    assert typed.working_days == "0134"
