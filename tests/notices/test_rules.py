"""The order in which notices are told, and whom they concern."""

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from server.notices.rules import KINDS, KNOW, SOON, STOPS, Notice, Reach, day_words, in_order

TODAY = date(2026, 3, 14)


def notice(kind: str, weight: int = SOON, on: date | None = None) -> Notice:
    return Notice(kind, f"{kind}-{weight}", "what", "step", "/", weight, on)


notices = st.builds(
    notice,
    st.sampled_from(list(KINDS)),
    st.sampled_from([STOPS, SOON, KNOW]),
    st.none() | st.dates(date(2026, 1, 1), date(2027, 1, 1)),
)


def test_the_kinds_stand_in_the_order_of_what_stops_work() -> None:
    assert list(KINDS) == [
        "due",
        "low",
        "expiring",
        "overlapping",
        "warm",
        "unexplained",
        "silent",
        "lapsed",
        "missing",
    ]


@given(st.lists(notices, max_size=12))
def test_no_kind_comes_before_an_earlier_one_and_no_weight_before_a_heavier(rows: list[Notice]) -> None:
    told = in_order(rows)
    assert sorted(told, key=repr) == sorted(rows, key=repr)
    places = [(list(KINDS).index(row.kind), row.weight) for row in told]
    assert places == sorted(places)


def test_within_a_weight_the_earliest_day_is_first_and_what_has_no_day_last() -> None:
    rows = [notice("due"), notice("due", on=date(2026, 3, 20)), notice("due", on=date(2026, 3, 15))]
    assert [row.on for row in in_order(rows)] == [date(2026, 3, 15), date(2026, 3, 20), None]


def test_what_is_wrong_concerns_whoever_operates_there() -> None:
    reach = Reach(1, False, {7: 1, 8: 0})
    assert reach.operates(7)
    assert not reach.operates(8)
    assert not reach.operates(9)
    assert reach.operates(None)
    assert not Reach(1, False).operates(None)
    assert Reach(1, True).operates(9)


def test_near_days_are_told_in_words() -> None:
    days = {14: "today", 15: "tomorrow", 13: "yesterday", 10: "4 days ago", 20: "on 20 Mar 2026"}
    assert {day: day_words(date(2026, 3, day), TODAY) for day in days} == days
