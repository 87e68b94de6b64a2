"""What a booking is charged for. Which hours is common practice, no source; sums are worked by hand."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.bookings.rules import COOL, HAND_IN, HAND_OUT, PUMP, REFIT, WINDOW, Phase
from server.charges import rules
from server.charges.rules import Facts, GivenUp, Loss, Span

START = datetime(2026, 3, 16, 8, tzinfo=UTC)


def _chain(*lengths: tuple[str, float]) -> list[Phase]:
    at, found = START, []
    for kind, hours in lengths:
        found.append(Phase(kind, at, at + timedelta(hours=hours)))
        at = found[-1].ends
    return found


CHAIN = _chain((HAND_IN, 0.5), (REFIT, 4), (PUMP, 2), (COOL, 4), (WINDOW, 40), (HAND_OUT, 0.5))
OPENS = START + timedelta(hours=10.5)


def _hours(facts: Facts) -> dict[str, float]:
    found: dict[str, float] = {}
    for row in rules.counted(facts):
        found[row.what] = found.get(row.what, 0) + row.seconds / 3600
    return found


def _span(first: float, last: float) -> Span:
    return Span(OPENS + timedelta(hours=first), OPENS + timedelta(hours=last))


def test_without_a_cooldown_in_the_book_hours_are_as_planned_and_said_so() -> None:
    rows = {row.what: row for row in rules.counted(Facts(CHAIN, None))}
    assert _hours(Facts(CHAIN, None)) == {"cold": 40, "changeover": 10}
    assert rows["cold"].basis == "planned"


def test_a_window_that_was_at_base_late_is_charged_warm_until_then() -> None:
    facts = Facts(CHAIN, [_span(3, 60)])
    assert _hours(facts) == {"cold": 37, "warm": 3, "changeover": 10}
    assert next(row for row in rules.counted(facts) if row.what == "cold").basis == "measured"


def test_what_an_instrument_took_comes_off_the_warm_hours_first_and_costs_nothing() -> None:
    loss = Loss("7", 5 * 3600, 5 * 3600, "a fault of the instrument")
    assert _hours(Facts(CHAIN, [_span(3, 60)], [loss])) == {"cold": 38 - 3 + 0, "lost": 5, "changeover": 10}
    assert 38 - 3 == 37 - (5 - 3)


def test_a_users_own_fault_is_told_and_stays_charged() -> None:
    assert _hours(Facts(CHAIN, None, [Loss("8", 7200, 0, "own")])) == {
        "cold": 40,
        "lost": 2,
        "changeover": 10,
    }


def test_a_helper_is_charged_for_the_hands_on_phases_alone() -> None:
    assert _hours(Facts(CHAIN, None, helper="Ada"))["assisted"] == pytest.approx(0.5 + 4 + 0.5)


def test_a_booking_given_up_costs_what_was_told_then() -> None:
    told = GivenUp(10 * 3600, 12 * 3600, "cooling had begun")
    assert _hours(Facts(CHAIN[:3], None, given_up=told)) == {"cold": 12, "changeover": 10}
    assert _hours(Facts([], None, given_up=GivenUp(0, 0, "free"))) == {}


@pytest.mark.parametrize(
    ("seconds", "rate", "due"),
    [(3600, 1250, 1250), (1800, 1, 1), (1799, 1, 0), (-1800, 1, -1), (0, 500, 0), (90 * 60, 333, 500)],
)
def test_a_half_hundredth_is_rounded_away_from_nothing(seconds: int, rate: int, due: int) -> None:
    assert rules.cents(seconds, rate) == due


def test_money_is_shown_with_two_places() -> None:
    assert [rules.shown(row) for row in (0, 5, 1250, -1, -250)] == ["0.00", "0.05", "12.50", "-0.01", "-2.50"]
    assert rules.money(Decimal("0.125")) == 13


@given(st.integers(0, 10**7), st.lists(st.floats(0.1, 1e3), min_size=1, max_size=6))
def test_parts_add_up_to_the_whole_and_none_is_below_nothing(whole: int, sizes: list[float]) -> None:
    parts = rules.split(whole, {str(number): size for number, size in enumerate(sizes)})
    assert sum(parts.values()) == whole
    assert min(parts.values()) >= 0
    for number, size in enumerate(sizes):
        assert abs(parts[str(number)] - whole * size / sum(sizes)) <= 1.01


@given(
    st.one_of(st.none(), st.tuples(st.floats(-50, 80), st.floats(-50, 80))),
    st.lists(st.tuples(st.integers(0, 80), st.floats(0, 1)), max_size=3),
)
def test_no_hour_of_a_window_is_charged_twice(
    cold: tuple[float, float] | None, lost: list[tuple[int, float]]
) -> None:
    spans = None if cold is None else [_span(min(cold), max(cold))]
    losses = [
        Loss(str(at), hours * 3600, int(hours * 3600 * part), "") for at, (hours, part) in enumerate(lost)
    ]
    told = {
        what: hours for what, hours in _hours(Facts(CHAIN, spans, losses)).items() if what in ("cold", "warm")
    }
    back = sum(row.back_s for row in losses) / 3600
    assert sum(told.values()) == pytest.approx(max(40 - back, 0), abs=1e-3)
