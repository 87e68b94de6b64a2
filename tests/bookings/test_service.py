"""Taking, moving, cancelling, waiting; who may; what is refused. The rules are common practice, no source."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlmodel import col, select

from server.bookings import lines, reading, ruling, service
from server.bookings.models import Booking, Occupancy, Telling
from server.bookings.rules import COOL, HAND_IN, VENT, WINDOW
from server.cryostats import counters, instruments
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.people.service import CommandLine
from tests.bookings.conftest import NOW, Desk, ask, hours, local
from tests.factories import lid, wire

BORED = lid("bored", bore_diameter_m=0.02)


def kinds(booking: Booking) -> list[str]:
    return [row.kind for row in lines.phases_of(booking)]


def told(desk: Desk, who: int | None) -> list[str]:
    query = select(Telling.what).where(Telling.person_id == who).order_by(col(Telling.id))
    return list(desk.session.exec(query).all())


def test_cold_as_it_is_needs_a_hand_over_and_no_more(desk: Desk) -> None:
    booking = desk.book(ask(10))
    assert booking.window_starts == NOW + timedelta(minutes=20)
    assert kinds(booking)[:2] == [HAND_IN, WINDOW]
    assert booking.configuration == "revision:1"
    assert (booking.state, booking.tentative) == ("booked", False)
    assert desk.session.get(Occupancy, booking.occupancy_id) is not None


def test_a_draft_with_another_lid_brings_the_whole_chain_and_is_frozen_when_it_is_approved(
    desk: Desk,
) -> None:
    booking = desk.book(ask(40, want="draft", draft_id=desk.draft(BORED)))
    assert kinds(booking)[:9] == [
        HAND_IN, "warm-up", VENT, "refit", "close", "pump", COOL, "settle", WINDOW,
    ]  # fmt: skip
    assert booking.change == "optics"
    assert booking.frozen_at == NOW


def test_the_second_takes_the_time_after_the_first_and_warms_it_up_herself(desk: Desk) -> None:
    first = desk.book(ask(10))
    second = desk.book(ask(20, want="draft", draft_id=desk.draft(BORED)))
    assert reading.find(desk.session, first.id or 0).window_ends is not None
    assert lines.phases_of(second)[0].starts >= lines.phases_of(first)[-1].ends
    assert "warm-up" in kinds(second)
    assert "warm-up" not in kinds(first)


def test_time_that_is_taken_is_a_conflict(desk: Desk) -> None:
    first = desk.book(ask(10))
    assert first.window_starts is not None
    with pytest.raises(Conflict, match="another booking has it"):
        service.book(desk.session, desk.ben, "bench-a", ask(10), first.window_starts + hours(1), NOW)


def test_whoever_comes_between_lays_the_right_neighbour_again_and_keeps_its_window(desk: Desk) -> None:
    far = NOW + timedelta(days=7)
    right = service.book(
        desk.session, desk.ben, "bench-a", ask(10, want="draft", draft_id=desk.draft(BORED)), far, NOW
    )
    was = lines.phases_of(right)
    assert was[0].kind == HAND_IN
    between = service.book(
        desk.session,
        desk.ben,
        "bench-a",
        ask(5, want="draft", draft_id=right.draft_id),
        far - timedelta(days=4),
        NOW,
    )
    desk.session.refresh(right)
    assert right.window_starts == far
    assert right.change == "none"
    assert len(lines.phases_of(right)) != len(was)
    assert lines.phases_of(between)[-1].ends <= lines.phases_of(right)[0].starts


def test_a_neighbour_who_is_laid_again_is_not_told_what_the_other_booking_is_for(desk: Desk) -> None:
    far, bored = NOW + timedelta(days=7), desk.draft(BORED)
    right = service.book(desk.session, desk.ben, "bench-a", ask(10, want="draft", draft_id=bored), far, NOW)
    secret = replace(ask(5, want="draft", draft_id=bored), purpose="Not for everybody")
    service.book(desk.session, desk.ada, "bench-a", secret, far - timedelta(days=4), NOW)
    again = reading.steps(desk.session, right)[-1]
    assert again.what == "Laid again"
    assert "Not for everybody" not in " ".join([again.note, *told(desk, desk.ben.id)])


def test_a_slot_that_would_push_out_the_right_neighbour_is_not_offered(desk: Desk) -> None:
    """The right neighbour takes it as it is, so nobody may refit right before it."""
    right = service.book(desk.session, desk.ben, "bench-a", ask(10), NOW + hours(20), NOW)
    found = desk.slot(ask(2, want="draft", draft_id=desk.draft(BORED)))
    assert right.window_ends is not None
    assert found.chain.starts >= right.window_ends


def test_a_cancelled_booking_is_kept_free_of_charge_long_before(desk: Desk) -> None:
    booking = service.book(desk.session, desk.ben, "bench-a", ask(10), NOW + timedelta(days=5), NOW)
    service.cancel(desk.session, desk.ben, booking.id or 0, NOW + hours(1), "No chip")
    assert (booking.state, booking.occupancy_id, booking.sequence) == ("cancelled", None, 2)
    step = reading.steps(desk.session, booking)[-1]
    assert step.data["charge"]["changeover_h"] == 0
    assert desk.book(ask(10)).window_starts == NOW + timedelta(minutes=20)


def test_cancelling_what_is_frozen_costs_the_changeover_and_after_cooling_began_the_cold_hours_too(
    desk: Desk,
) -> None:
    first = service.book(
        desk.session,
        desk.ben,
        "bench-a",
        ask(40, want="draft", draft_id=desk.draft(BORED)),
        NOW + timedelta(days=9),
        NOW,
    )
    service.cancel(desk.session, desk.ben, first.id or 0, NOW)
    charge = reading.steps(desk.session, first)[-1].data["charge"]
    assert (charge["changeover_h"], charge["cold_h"]) == (17.0, 0.0)
    second = desk.book(ask(40, want="draft", draft_id=first.draft_id))
    cooling = next(row for row in lines.phases_of(second) if row.kind == COOL)
    service.cancel(desk.session, desk.ben, second.id or 0, cooling.starts + hours(1))
    charge = reading.steps(desk.session, second)[-1].data["charge"]
    assert charge["cold_h"] == 40


def test_a_booking_that_has_begun_ends_now_and_what_has_passed_stays_on_the_line(desk: Desk) -> None:
    booking = desk.book(ask(10))
    later = NOW + hours(4)
    service.cancel(desk.session, desk.ben, booking.id or 0, later)
    place = desk.session.get(Occupancy, booking.occupancy_id)
    assert place is not None
    assert (place.starts, place.ends) == (NOW + timedelta(minutes=2), later)


def test_when_the_left_neighbour_goes_the_right_one_keeps_its_window_and_opens_for_itself(desk: Desk) -> None:
    bored = desk.draft(BORED)
    left = service.book(
        desk.session, desk.ben, "bench-a", ask(10, want="draft", draft_id=bored), NOW + timedelta(days=3), NOW
    )
    right = service.book(
        desk.session, desk.ben, "bench-a", ask(10, want="draft", draft_id=bored), NOW + timedelta(days=4), NOW
    )
    assert right.change == "none"
    service.cancel(desk.session, desk.ada, left.id or 0, NOW)
    assert right.window_starts == NOW + timedelta(days=4)
    assert right.change == "optics"
    assert any("laid again" in line.lower() for line in told(desk, desk.ben.id))


def test_as_it_is_follows_what_is_left_when_the_left_neighbour_goes(desk: Desk) -> None:
    left = service.book(
        desk.session,
        desk.ben,
        "bench-a",
        ask(10, want="draft", draft_id=desk.draft(BORED)),
        NOW + timedelta(days=3),
        NOW,
    )
    right = service.book(desk.session, desk.cleo, "bench-a", ask(10), NOW + timedelta(days=4), NOW)
    assert right.configuration == left.configuration
    service.cancel(desk.session, desk.ben, left.id or 0, NOW)
    assert right.configuration == "revision:1"


def test_moving_keeps_the_hours_and_raises_the_sequence(desk: Desk) -> None:
    booking = desk.book(ask(10))
    uid = booking.uid
    service.move(desk.session, desk.ben, booking.id or 0, NOW + timedelta(days=2), NOW - hours(1))
    assert booking.window_starts == NOW + timedelta(days=2)
    assert booking.window_ends == NOW + timedelta(days=2) + hours(10)
    assert (booking.uid, booking.sequence) == (uid, 2)


def test_only_those_it_belongs_to_move_or_cancel_it(desk: Desk) -> None:
    booking = desk.book(ask(10))
    session, number = desk.session, booking.id or 0
    with pytest.raises(Forbidden, match="belongs to Ben"):
        service.cancel(session, desk.cleo, number, NOW)
    with pytest.raises(Forbidden, match="belongs to Ben"):
        service.move(session, desk.cleo, number, NOW + hours(50), NOW - hours(1))
    with pytest.raises(Forbidden, match="belongs to Ben"):
        service.freeze(session, desk.cleo, number, NOW)


def test_a_booking_that_is_not_there_is_not_found(desk: Desk) -> None:
    for number in (0, -1, 77, 2**40):
        with pytest.raises(NotFound):
            service.cancel(desk.session, desk.ada, number, NOW)


BAD = (
    ({"cold_hours": 0}, "cold_hours"),
    ({"cold_hours": 1e-12}, "cold_hours"),
    ({"cold_hours": float("nan")}, "cold_hours"),
    ({"cold_hours": 24 * 11}, "cold_hours"),
    ({"purpose": " "}, "purpose"),
    ({"purpose": "x" * 3000}, "purpose"),
    ({"want": "other"}, "want"),
    ({"want": "house"}, "want"),
    ({"want": "draft"}, "draft"),
    ({"helper_id": 2**40}, "helper"),
    ({"group_id": 12}, "group"),
    ({"any_hour": True}, "override"),
    ({"override": "I want to"}, "override"),
    ({"wanted_K": 5000.0}, "wanted_K"),
    ({"earliest": NOW, "latest": NOW}, "latest"),
)


def test_a_bad_wish_says_which_field_to_mend(desk: Desk) -> None:
    for more, field in BAD:
        made = replace(ask(), **more)
        with pytest.raises(Refused) as refused:
            service.book(desk.session, desk.ben, "bench-a", made, NOW + hours(2), NOW)
        assert field in refused.value.fields, more


def test_nobody_books_in_the_past_nor_beyond_half_a_year(desk: Desk) -> None:
    for moment, field in ((NOW - hours(1), "cold_starts"), (NOW + timedelta(weeks=27), "earliest")):
        with pytest.raises(Refused) as refused:
            service.book(desk.session, desk.ben, "bench-a", ask(10), moment, NOW)
        assert field in refused.value.fields


def test_beyond_eight_weeks_a_booking_is_tentative(desk: Desk) -> None:
    assert service.book(desk.session, desk.ben, "bench-a", ask(10), NOW + timedelta(weeks=9), NOW).tentative


def test_a_steward_sets_a_rule_aside_with_a_reason(desk: Desk) -> None:
    wanted = ask(24 * 11, override="Beam time elsewhere, agreed at the users' meeting")
    booking = service.book(desk.session, desk.ada, "bench-a", wanted, NOW + hours(2), NOW)
    assert booking.override.startswith("Beam time")


def test_a_steward_alters_a_number_for_one_cryostat_with_a_reason(desk: Desk) -> None:
    ruling.write(desk.session, desk.ada, "bench-a", "longest_days", "12", "A long series", NOW)
    assert (
        service.book(desk.session, desk.ben, "bench-a", ask(24 * 11), NOW + hours(2), NOW).cold_hours == 264
    )
    assert ruling.numbers_of(desk.session).value("longest_days") == 10
    with pytest.raises(Forbidden):
        ruling.write(desk.session, desk.ben, "bench-a", "longest_days", "100", "Mine", NOW)
    with pytest.raises(Refused):
        ruling.write(desk.session, desk.ada, "bench-a", "longest_days", "ten", "", NOW)


def test_a_draft_not_approved_needs_three_working_days(desk: Desk) -> None:
    drawn = desk.draft(BORED, approved=False)
    soon = desk.slot(ask(10, want="draft", draft_id=drawn)).chain.window.starts
    with pytest.raises(Refused) as refused:
        service.book(desk.session, desk.ben, "bench-a", ask(10, want="draft", draft_id=drawn), soon, NOW)
    assert "3 working days" in refused.value.fields["draft"]
    later = service.book(
        desk.session,
        desk.ben,
        "bench-a",
        ask(10, want="draft", draft_id=drawn),
        soon + timedelta(days=5),
        NOW,
    )
    assert later.frozen_at is None
    with pytest.raises(Conflict, match="not approved"):
        service.freeze(desk.session, desk.ben, later.id or 0, NOW)


def test_the_hands_on_work_needs_its_grade_own_or_a_named_helpers(desk: Desk) -> None:
    bored = ask(10, want="draft", draft_id=desk.draft(BORED, wire(count=12)))
    starts = desk.slot(bored).chain.window.starts
    with pytest.raises(Refused) as refused:
        service.book(desk.session, desk.cleo, "bench-a", bored, starts, NOW)
    assert "grade 3 (rewire)" in refused.value.fields["helper"]
    helped = ask(10, want="draft", draft_id=bored.draft_id, helper_id=desk.ben.id)
    booking = service.book(desk.session, desk.cleo, "bench-a", helped, starts, NOW)
    assert booking.helper_name == "Ben"


def test_whoever_only_watches_books_nothing(desk: Desk) -> None:
    instruments.give_grade(desk.session, CommandLine(), desk.bench, desk.cleo, 0, NOW)
    with pytest.raises(Forbidden, match="grade 1"):
        desk.book(ask(10), who=desk.cleo)


def test_a_lapsed_grade_is_told_the_one_thing_to_do(desk: Desk) -> None:
    later = NOW + timedelta(days=200)
    bored = ask(10, want="draft", draft_id=desk.draft(BORED))
    with pytest.raises(Refused) as refused:
        desk.book(bored, later)
    assert "lapsed" in refused.value.fields["helper"]
    assert "One accompanied opening" in refused.value.fields["helper"]
    counters.hands_on(desk.session, desk.bench, later - timedelta(days=3), desk.ben)
    assert desk.book(bored, later).state == "booked"


def test_nobody_is_locked_out_of_a_cold_cryostat_they_answer_for(desk: Desk) -> None:
    later = NOW + timedelta(days=200)
    desk.book(ask(10), later)
    bored = ask(10, want="draft", draft_id=desk.draft(BORED))
    assert desk.book(bored, later + hours(3)).state == "booked"


def test_a_waiting_wish_keeps_its_turn_and_takes_a_place_later(desk: Desk) -> None:
    wish = service.wait(desk.session, desk.cleo, "bench-a", ask(10, cold_as_is=True), NOW)
    assert [row.id for row in reading.placeless(desk.session, desk.bench)] == [wish.id]
    service.move(desk.session, desk.cleo, wish.id or 0, NOW + hours(5), NOW)
    assert (wish.state, local(wish.window_starts)) == ("booked", "Mon 16 13:00")


def test_every_write_lands_in_the_history_and_in_the_steps(desk: Desk) -> None:
    booking = service.book(desk.session, desk.ben, "bench-a", ask(10), NOW + hours(30), NOW)
    service.move(desk.session, desk.ben, booking.id or 0, NOW + timedelta(days=2), NOW + hours(1), "Later")
    service.cancel(desk.session, desk.ben, booking.id or 0, NOW + hours(2))
    lines_told = [row.what.split(".")[0] for row in history.of(desk.session, f"booking/{booking.id}")]
    assert lines_told == ["Cancelled", "Moved", "Booked"]
    assert [row.what for row in reading.steps(desk.session, booking)] == ["Booked", "Moved", "Cancelled"]


def test_who_has_it_now_and_who_comes_next(desk: Desk) -> None:
    first, second = desk.book(ask(10)), desk.book(ask(10))
    found = service.now_and_next(desk.session, desk.bench.id or 0, NOW + hours(2))
    assert found.booking is first
    assert found.phase is not None
    assert found.phase.kind == WINDOW
    assert found.next is second


def test_its_own_cooldowns_and_openings_say_how_long_a_phase_takes(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The learnt times come from the rooms below, each with what it is the median of."""
    from server.cooldowns import trends
    from server.cooldowns.rules import Usual

    slow = {"cool": Usual(6 * 3600, 5 * 3600, 8 * 3600, 7), "pump": Usual(9e9, None, None, 2)}
    monkeypatch.setattr(trends, "durations", lambda *_: slow)
    found = lines.durations(desk.session, desk.bench, ruling.numbers_of(desk.session))
    assert (found[COOL].best, found[COOL].low, found[COOL].high) == (6, 5, 8)
    assert found[COOL].source == "median of its last 7 cooldowns"
    assert found["pump"].best == 2
    booking = desk.book(ask(10, want="draft", draft_id=desk.draft(BORED)))
    assert next(row.hours for row in lines.phases_of(booking) if row.kind == COOL) == 6
