"""Chains laid against their neighbours, with the two orders of a worked week.

The week, its durations and its results (130 h, Thursday 12:00–17:00, 2 h of slack; 115 h) are common practice
worked by hand; the default hours are from memory.
"""

from collections.abc import Mapping
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from server.bookings import rules
from server.bookings.laying import Chain, Ground, Kit, Wish, earliest, lay
from server.bookings.rules import CLOSE, COOL, HAND_IN, REFIT, VENT, WAIT, WARM_UP, Hours
from server.bookings.worktime import WorkTime

VIENNA = ZoneInfo("Europe/Vienna")
WORK = WorkTime("Europe/Vienna", "01234", time(8), time(19))
MONDAY = datetime(2026, 3, 2, 9, tzinfo=VIENNA)


def hours(number: float) -> timedelta:
    return timedelta(hours=number)


def stated() -> Mapping[str, Hours]:
    """The durations the worked week states: 12 h from venting to settled, 3 h of warming, no hand-overs."""
    given = {REFIT: 4, VENT: 0.5, CLOSE: 0.5, "pump": 2, COOL: 4, "settle": 1, WARM_UP: 3}
    found = dict(rules.DEFAULTS)
    found |= {key: Hours(best, best, best) for key, best in given.items() if key in found}
    found |= {f"{REFIT}-{change}": Hours(4, 4, 4) for change in ("sample", "wires", "optics")}
    return found | {HAND_IN: Hours(0, 0, 0), "hand-over-out": Hours(0, 0, 0)}


def change(left: str, right: str) -> str:
    return "none" if left == right else "optics"


KIT = Kit(WORK, change, stated())
COLD_A, COLD_B = Wish("house", hours(60)), Wish("bored lid", hours(40))


def local(moment: datetime) -> str:
    return f"{moment.astimezone(VIENNA):%a %H:%M}"


def the_week(slip: timedelta = timedelta()) -> tuple[Chain, Chain]:
    """A from Monday 09:00, B after A, each with the hand-overs left out."""
    first = earliest(KIT, Ground("other", False, MONDAY), COLD_A, MONDAY)
    assert first is not None
    second = earliest(KIT, Ground("house", True, first.ends + slip), COLD_B, first.ends + slip)
    assert second is not None
    return first, second


def test_a_then_b_takes_130_hours_from_monday_nine_to_saturday_seven() -> None:
    first, second = the_week()
    assert [local(first.window.starts), local(first.window.ends)] == ["Mon 21:00", "Thu 09:00"]
    ends = second.ends + rules.hours_of(WARM_UP, "optics", KIT.durations)
    assert (ends - MONDAY) / hours(1) == 130
    assert local(ends) == "Sat 19:00"


def test_the_refit_lands_on_thursday_noon_with_two_hours_of_slack() -> None:
    _, second = the_week()
    vent, close = second.of(VENT), second.of(CLOSE)
    assert vent is not None
    assert close is not None
    assert [local(vent.starts), local(close.ends)] == ["Thu 12:00", "Thu 17:00"]
    assert second.slack == hours(2)


def test_a_slip_within_the_slack_moves_nothing_to_another_day() -> None:
    _, second = the_week(hours(2))
    assert local(second.window.starts) == "Fri 02:00"


def test_a_slip_beyond_the_slack_moves_the_refit_to_friday_and_the_end_to_sunday_afternoon() -> None:
    _, second = the_week(hours(2.25))
    vent = second.of(VENT)
    assert vent is not None
    assert local(vent.starts) == "Fri 08:00"
    assert local(second.ends + hours(3)) == "Sun 15:00"


def test_shared_they_take_115_hours() -> None:
    both = earliest(KIT, Ground("other", False, MONDAY), Wish("shared", hours(100)), MONDAY)
    assert both is not None
    ends = both.ends + hours(3)
    assert (ends - MONDAY) / hours(1) == 115
    assert local(ends) == "Sat 04:00"


DEFAULT = Kit(WORK, change)


def test_the_same_configuration_while_cold_needs_a_hand_over_and_nothing_else() -> None:
    ground = Ground("house", True, MONDAY)
    chain = lay(DEFAULT, ground, Wish("house", hours(10)), MONDAY + hours(3))
    assert chain is not None
    assert [row.kind for row in chain.phases] == ["hand-over-in", "window", "wait", "hand-over-out"]


def test_a_window_that_ends_at_night_is_handed_over_in_the_morning() -> None:
    chain = lay(DEFAULT, Ground("house", True, MONDAY), Wish("house", hours(10)), MONDAY + hours(3))
    assert chain is not None
    assert local(chain.window.ends) == "Mon 22:00"
    assert local(chain.phases[-1].starts) == "Tue 08:00"


def test_after_a_day_without_anybody_room_is_kept_for_cooling_down() -> None:
    later = MONDAY + hours(48)
    chain = lay(DEFAULT, Ground("house", True, MONDAY), Wish("house", hours(10)), later)
    assert chain is not None
    assert chain.cold_found is None
    assert chain.of(COOL) is not None


def test_a_booking_taken_as_it_is_never_opens() -> None:
    as_is = Wish("house", hours(10), as_is=True)
    assert lay(DEFAULT, Ground("other", True, MONDAY), as_is, MONDAY + hours(48)) is None
    assert lay(DEFAULT, Ground("house", True, MONDAY), as_is, MONDAY + hours(5)) is not None


def test_a_chain_that_would_begin_before_its_ground_is_free_is_none() -> None:
    assert lay(DEFAULT, Ground("other", True, MONDAY), COLD_A, MONDAY + hours(12)) is None


@pytest.mark.parametrize("night_h", range(0, 72, 5))
def test_hands_on_work_falls_into_working_hours_and_phases_touch(night_h: int) -> None:
    chain = earliest(DEFAULT, Ground("other", True, MONDAY), COLD_B, MONDAY + hours(night_h))
    assert chain is not None
    for row, following in zip(chain.phases, chain.phases[1:], strict=False):
        assert row.ends == following.starts
    for row in chain.phases:
        if row.hands_on:
            here, there = row.starts.astimezone(VIENNA), row.ends.astimezone(VIENNA)
            assert here.weekday() < 5
            assert time(8) <= here.time() < time(19)
            assert there.time() <= time(19)


def test_an_open_chamber_is_closed_the_same_day() -> None:
    chain = earliest(DEFAULT, Ground("other", True, MONDAY), COLD_B, MONDAY + hours(5))
    assert chain is not None
    vent, close = chain.of(VENT), chain.of(CLOSE)
    assert vent is not None
    assert close is not None
    assert vent.starts.date() == close.ends.date()


def test_at_any_hour_there_is_no_waiting_and_no_slack_to_tell() -> None:
    wish = Wish("bored lid", hours(40), any_hour=True)
    chain = earliest(DEFAULT, Ground("other", True, MONDAY), wish, MONDAY + hours(11))
    assert chain is not None
    assert chain.of(WAIT) is None
    assert chain.slack is None


def test_across_the_spring_clock_change_a_working_day_still_begins_at_eight() -> None:
    friday = datetime(2026, 3, 27, 18, 50, tzinfo=VIENNA)
    chain = earliest(DEFAULT, Ground("house", True, friday.astimezone(UTC)), Wish("house", hours(1)), friday)
    assert chain is not None
    assert chain.starts.astimezone(VIENNA).hour == 8
    assert chain.starts.date() == datetime(2026, 3, 30, tzinfo=UTC).date()
    assert chain.starts.astimezone(UTC).hour == 6


def test_a_mass_that_takes_long_to_cool_makes_the_cooldown_longer() -> None:
    heavy = Kit(WORK, change, delay_h=lambda configuration: 2.5 if configuration == "bored lid" else 0)
    chain = earliest(heavy, Ground("other", True, MONDAY), COLD_B, MONDAY)
    assert chain is not None
    assert chain.hours([COOL]) == 6.5
