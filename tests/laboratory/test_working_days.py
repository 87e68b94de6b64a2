"""Working days, against a calendar anybody can look up: Christmas 2026 falls on a Friday in Austria."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.laboratory.working_days import WorkingWeek, country_faults

PLAIN, AUSTRIA = WorkingWeek(), WorkingWeek(country="AT")
DAYS = st.dates(date(2020, 1, 1), date(2030, 12, 31))


def test_three_working_days_before_a_friday_is_the_tuesday() -> None:
    assert PLAIN.before(date(2026, 12, 18), 3) == date(2026, 12, 15)
    assert PLAIN.between(date(2026, 12, 15), date(2026, 12, 18)) == 3


def test_a_weekend_does_not_count() -> None:
    assert PLAIN.before(date(2026, 12, 15), 3) == date(2026, 12, 10)


@pytest.mark.parametrize("day", [date(2026, 12, 25), date(2026, 12, 8), date(2026, 10, 26)])
def test_a_public_holiday_does_not_count_where_the_country_is_named(day: date) -> None:
    # The law on rest from work (Austria), section 7: 8 December, 25 December and 26 October are days of rest.
    assert PLAIN.works_on(day)
    assert not AUSTRIA.works_on(day)


def test_a_laboratory_that_works_on_saturday_counts_it() -> None:
    assert WorkingWeek("012345").before(date(2026, 12, 14), 1) == date(2026, 12, 12)


@given(DAYS, st.integers(0, 30))
def test_counting_back_and_counting_between_agree(day: date, count: int) -> None:
    assert AUSTRIA.between(AUSTRIA.before(day, count), day) == count


@pytest.mark.parametrize("country", ["", "AT", "AT-9", "US-CA"])
def test_known_countries_are_taken(country: str) -> None:
    assert country_faults(country) == {}


@pytest.mark.parametrize("country", ["XX", "AT-99", "Austria", "-9", "\x00"])
def test_a_country_nobody_listed_is_told(country: str) -> None:
    assert "country" in country_faults(country)
