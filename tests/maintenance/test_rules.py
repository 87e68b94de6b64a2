"""Which trigger wins, and that nothing is put off in silence."""

from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from server.maintenance import rules
from server.maintenance.rules import Use

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
limits = st.fixed_dictionaries(
    {},
    optional={
        "days": st.floats(1, 2000),
        "compressor_hours": st.floats(1, 30000),
        "cooldowns": st.floats(1, 50),
        "openings": st.floats(1, 50),
    },
).filter(bool)


def uses(hours: float, pace_h_day: float, count: int) -> dict[str, Use]:
    days = (-56.0, -28.0, -1.0)
    return {
        "compressor_hours": Use(hours, days, tuple(hours + pace_h_day * (day + 1) for day in days)),
        "cooldowns": Use(float(count), counted=count),
        "openings": Use(float(count), counted=count),
    }


@settings(max_examples=150)
@given(limits, st.floats(2000, 30000), st.floats(0, 23), st.integers(0, 30), st.floats(0, 3000))
def test_the_earliest_trigger_always_wins(
    asked: dict[str, float], hours: float, pace: float, count: int, ago_days: float
) -> None:
    begun = NOW - timedelta(days=ago_days)
    marks: dict[str, Any] = {key: {"from": begun.timestamp() if key == "days" else 0.0} for key in asked}
    alone = [
        rules.triggers({key: value}, marks, uses(hours, pace, count), NOW)[0] for key, value in asked.items()
    ]
    first = rules.triggers(asked, marks, uses(hours, pace, count), NOW)[0]
    dated = [row.dates.first for row in alone if row.dates.first is not None]
    assert first.dates.first == (min(dated) if dated else None)
    if any(row.now for row in alone):
        assert rules.state(first, marks, 0.0, NOW) == rules.OVERDUE


@settings(max_examples=150)
@given(
    st.text(max_size=20),
    st.one_of(st.none(), st.floats()),
    st.floats(0, 1e5),
    st.floats(0, 1e5),
    st.integers(0, 3),
    st.integers(0, 3),
)
def test_nothing_is_put_off_without_reason_later_limit_and_knowing_how_often_it_was(
    reason: str, new: float | None, stood: float, reached: float, seen: int, times: int
) -> None:
    wrong = rules.defer_faults(reason, new, stood, reached, seen, times)
    if not wrong:
        assert reason.strip()
        assert new is not None
        assert new > max(stood, reached)
        assert seen == times


def test_what_was_seen_comes_before_every_clock() -> None:
    marks = {
        "days": {"from": NOW.timestamp()},
        "condition": {"from": NOW.timestamp() - 60, "words": "knocks"},
    }
    first = rules.triggers({"days": 30}, marks, {}, NOW)[0]
    assert (first.trigger, first.why) == ("condition", "seen: knocks")
    assert rules.state(first, marks, 0.0, NOW) == rules.OVERDUE


def test_a_lead_time_longer_than_a_month_shows_a_task_earlier() -> None:
    marks = {"days": {"from": NOW.timestamp()}}
    first = rules.triggers({"days": 50}, marks, {}, NOW)[0]
    assert rules.state(first, marks, 0.0, NOW) == rules.LATER
    assert rules.state(first, marks, 56.0, NOW) == rules.SOON_DUE
