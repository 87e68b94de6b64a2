"""Plans that meet the day: shorter, longer, not begun, given back, shifted. Common practice, no source."""

from datetime import timedelta

import pytest

from server.bookings import fairness, lines, reality, ruling, service
from server.bookings.models import Booking, BookingStep, Group, Member
from server.bookings.rules import COOL, WINDOW
from server.errors import Conflict, Forbidden, Refused
from tests.bookings.conftest import NOW, Desk, ask, hours
from tests.bookings.test_service import BORED, told


def pair(desk: Desk) -> tuple[Booking, Booking]:
    """Ben until the next morning, Cleo right after him, both as it is."""
    return desk.book(ask(24)), desk.book(ask(5), who=desk.cleo)


def stay(desk: Desk, booking: Booking, longer_h: float, at_h: float) -> BookingStep | None:
    """Ben asks for some hours more."""
    assert booking.window_ends is not None
    until = booking.window_ends + hours(longer_h)
    return reality.extend(desk.session, desk.ben, booking.id or 0, until, NOW + hours(at_h))


def test_a_shortened_window_frees_the_time_behind_it(desk: Desk) -> None:
    first, _ = pair(desk)
    reality.shorten(desk.session, desk.ben, first.id or 0, NOW + hours(4), NOW + hours(1))
    assert first.window_ends == NOW + hours(4)
    assert lines.phases_of(first)[-1].ends == NOW + hours(4.5)
    for wrong in (NOW + hours(20), NOW):
        with pytest.raises(Refused):
            reality.shorten(desk.session, desk.ben, first.id or 0, wrong, NOW + hours(2))


def test_the_first_two_hours_of_an_overrun_need_nobodys_yes(desk: Desk) -> None:
    first, second = pair(desk)
    was = second.window_starts
    assert first.window_ends is not None
    assert (
        reality.extend(desk.session, desk.ben, first.id or 0, first.window_ends + hours(2), NOW + hours(5))
        is None
    )
    assert second.state == "booked"
    assert second.window_starts is not None
    assert was is not None
    assert second.window_starts >= was
    assert second.cold_hours == 5


def test_more_than_that_waits_for_the_next_owners_yes(desk: Desk) -> None:
    first, second = pair(desk)
    assert first.window_ends is not None
    until = first.window_ends + hours(20)
    asked = reality.extend(desk.session, desk.ben, first.id or 0, until, NOW + hours(5))
    assert asked is not None
    assert first.window_ends == until - hours(20)
    assert any("asks to stay" in line for line in told(desk, desk.cleo.id))
    with pytest.raises(Forbidden):
        reality.agree(desk.session, desk.ben, first.id or 0, NOW + hours(5))
    reality.agree(desk.session, desk.cleo, first.id or 0, NOW + hours(6))
    assert first.window_ends == until
    assert second.state == "booked"
    assert lines.phases_of(second)[0].starts >= lines.phases_of(first)[-1].ends
    with pytest.raises(Conflict, match="Nobody asks"):
        reality.agree(desk.session, desk.cleo, first.id or 0, NOW + hours(6))


def test_grace_is_had_once(desk: Desk) -> None:
    first, second = pair(desk)
    was = second.window_starts
    assert stay(desk, first, 2, 5) is None
    assert was is not None
    assert second.window_starts is not None
    assert second.window_starts > was
    assert stay(desk, first, 2, 6) is not None


def test_with_nobody_behind_an_overrun_is_simply_done(desk: Desk) -> None:
    first = desk.book(ask(10))
    assert first.window_ends is not None
    assert (
        reality.extend(desk.session, desk.ben, first.id or 0, first.window_ends + hours(30), NOW + hours(5))
        is None
    )
    assert first.cold_hours == 40


def test_nobody_stays_into_a_hold(desk: Desk) -> None:
    from tests.bookings.test_holds import held

    first = desk.book(ask(10))
    service.hold(desk.session, desk.ada, "bench-a", held(30, 10), NOW)
    assert first.window_ends is not None
    with pytest.raises(Conflict, match="hold"):
        reality.extend(desk.session, desk.ada, first.id or 0, first.window_ends + hours(24), NOW + hours(5))


def test_not_begun_within_four_working_hours_is_offered_to_those_who_wait(desk: Desk) -> None:
    first = desk.book(ask(30))
    waiting = service.wait(desk.session, desk.cleo, "bench-a", ask(3), NOW)
    with pytest.raises(Conflict, match="4 working hours"):
        reality.no_show(desk.session, desk.cleo, first.id or 0, NOW + hours(3))
    reality.no_show(desk.session, desk.cleo, first.id or 0, NOW + hours(4.5))
    assert first.state == "no-show"
    assert any("came free" in line for line in told(desk, waiting.owner_id))
    second = desk.book(ask(3), at=NOW + hours(5))
    assert second.state == "booked"


def test_whoever_has_begun_is_no_no_show(desk: Desk) -> None:
    first = desk.book(ask(30))
    reality.begin(desk.session, desk.ben, first.id or 0, NOW + hours(1))
    with pytest.raises(Conflict, match="begun"):
        reality.no_show(desk.session, desk.cleo, first.id or 0, NOW + hours(6))
    with pytest.raises(Conflict):
        reality.begin(desk.session, desk.ben, first.id or 0, NOW + hours(1))


def test_an_instruments_fault_gives_hours_back_and_a_users_own_does_not(desk: Desk) -> None:
    group = Group(name="Optics")
    desk.session.add(group)
    desk.session.flush()
    desk.session.add(Member(group_id=group.id or 0, person_id=desk.ben.id or 0))
    desk.session.flush()
    booking = desk.book(ask(10, group_id=group.id))
    rules = ruling.numbers_of(desk.session)
    later = NOW + hours(20)
    assert fairness.use(desk.session, rules, later)[0].cold_h == pytest.approx(10)
    with pytest.raises(Forbidden):
        reality.give_back(desk.session, desk.ben, booking.id or 0, 4, "instrument", "Chiller", later)
    reality.give_back(desk.session, desk.ada, booking.id or 0, 4, "instrument", "Chiller", later)
    reality.give_back(desk.session, desk.ada, booking.id or 0, 2, "user", "A short on the chip", later)
    assert fairness.use(desk.session, rules, later)[0].cold_h == pytest.approx(6)
    with pytest.raises(Refused):
        reality.give_back(desk.session, desk.ada, booking.id or 0, 40, "weather", "", later)


def test_a_late_cooldown_shifts_the_plan_behind_it_with_one_press(desk: Desk) -> None:
    first = desk.book(ask(20, want="draft", draft_id=desk.draft(BORED)))
    second = desk.book(ask(5), who=desk.cleo)
    cool = next(row for row in lines.phases_of(first) if row.kind == COOL)
    was = first.window_starts, second.window_starts
    at = cool.starts + hours(3)
    with pytest.raises(Forbidden, match="steward shifts"):
        reality.shift(desk.session, desk.ben, first.id or 0, 12, at)
    reality.shift(desk.session, desk.ada, first.id or 0, 12, at)
    assert was[0] is not None
    assert was[1] is not None
    assert first.window_starts == was[0] + hours(12)
    assert sum(row.hours for row in lines.phases_of(first) if row.kind == WINDOW) == 20
    assert second.window_starts is not None
    assert second.window_starts >= was[1]
    assert lines.phases_of(second)[0].starts >= lines.phases_of(first)[-1].ends
    assert any("Moved with the plan" in line for line in told(desk, desk.cleo.id))


def test_a_window_that_should_run_and_does_not_yet_keeps_its_hours(desk: Desk) -> None:
    first = desk.book(ask(20))
    assert first.window_starts is not None
    was = first.window_starts
    reality.shift(desk.session, desk.ada, first.id or 0, 3, was + hours(2))
    assert first.window_starts == was + hours(3)
    assert sum(row.hours for row in lines.phases_of(first) if row.kind == WINDOW) == 20


def test_a_plan_is_shifted_only_while_it_runs_and_by_some_hours(desk: Desk) -> None:
    first = service.book(desk.session, desk.ben, "bench-a", ask(10), NOW + timedelta(days=3), NOW)
    with pytest.raises(Conflict, match="running"):
        reality.shift(desk.session, desk.ada, first.id or 0, 1, NOW)
    with pytest.raises(Refused):
        reality.shift(desk.session, desk.ada, first.id or 0, -3, NOW)


def test_a_group_beyond_its_share_takes_only_what_is_free_soon(desk: Desk) -> None:
    heavy, light = Group(name="Heavy"), Group(name="Light")
    desk.session.add_all((heavy, light))
    desk.session.flush()
    desk.session.add(Member(group_id=heavy.id or 0, person_id=desk.ben.id or 0))
    desk.session.flush()
    desk.book(ask(30, group_id=heavy.id))
    later, wanted = NOW + hours(40), ask(5, group_id=heavy.id)
    with pytest.raises(Refused) as refused:
        service.book(desk.session, desk.ben, "bench-a", wanted, later + timedelta(days=8), later)
    assert "its share is 50 %" in refused.value.fields["group"]
    soon = service.book(desk.session, desk.ben, "bench-a", wanted, later + timedelta(days=2), later)
    assert soon.group_name == "Heavy"
