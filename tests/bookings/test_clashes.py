"""Two who want one cryostat: the orders, the shared configuration, the decision.

The worked week (130 h against 115 h, 2 h of slack) is common practice worked by hand, with its stated
durations and hand-overs of 0 h.
"""

from datetime import timedelta

import pytest
from sqlmodel import select

from server.bookings import clashes, lines, orders, reading, reality, service
from server.bookings.clashes import FIRST, SECOND, SHARED, Choice
from server.bookings.laying import Ground
from server.bookings.models import Booking, Party, Telling
from server.bookings.rules import WINDOW
from server.cryostats import draft_steps, drafts
from server.errors import Conflict, Forbidden, Refused
from server.people.models import Person
from tests.bookings.conftest import NOW, Desk, ask, hours
from tests.bookings.test_laying import COLD_A, COLD_B, KIT, MONDAY, local
from tests.bookings.test_service import BORED, told
from tests.factories import a_cooler, lid, wire

GROUND = Ground("other", False, MONDAY)


def test_the_worked_week_takes_130_hours_in_order_and_115_shared() -> None:
    asked = (("A", COLD_A), ("B", COLD_B))
    one = orders.in_order(KIT, GROUND, asked, MONDAY)
    both = orders.together(KIT, GROUND, asked, "shared", MONDAY)
    assert one is not None
    assert both is not None
    assert (one.hours, both.hours) == (130, 115)
    assert (local(one.ends), local(both.ends)) == ("Sat 19:00", "Sat 04:00")
    assert (one.openings, both.openings) == (2, 1)
    assert one.slack_h == 2


def two(desk: Desk) -> tuple[Booking, Booking]:
    """Ben wants a bored lid, Cleo twelve more lines; both wait."""
    desk.session.flush()
    bored = ask(40, want="draft", draft_id=desk.draft(BORED, name="Bored"))
    lined = ask(60, want="draft", draft_id=desk.draft(wire("more", count=12), name="Lines"))
    first = service.wait(desk.session, desk.ben, "bench-a", bored, NOW)
    return first, service.wait(desk.session, desk.cleo, "bench-a", lined, NOW)


def settle(
    desk: Desk, first: Booking, second: Booking, what: str, reason: str = "One cooldown saved"
) -> None:
    choice = Choice(first.id or 0, second.id or 0, what, reason)
    clashes.decide(desk.session, desk.ada, "bench-a", choice, NOW)


def test_sharing_is_priced_in_kelvin_for_each_and_in_hours_saved(desk: Desk) -> None:
    a_cooler(desk.session, desk.bench)
    first, second = two(desk)
    found = clashes.ways(desk.session, desk.bench, first.id or 0, second.id or 0, NOW)
    assert set(found.orders) == {FIRST, SECOND}
    assert found.saved_h is not None
    assert found.saved_h > 5
    platform = {
        key: next(row for row in rows if row.stage == "platform") for key, rows in found.prices.items()
    }
    lines_cost_K, bore_costs_K = platform[first.id or 0].more_K, platform[second.id or 0].more_K
    assert lines_cost_K.low is not None
    assert bore_costs_K.low is not None
    assert bore_costs_K.low > 0
    assert lines_cost_K.middle < bore_costs_K.middle
    assert [row.title for row in found.work] != []


def test_two_who_want_one_element_otherwise_cannot_share(desk: Desk) -> None:
    first, _ = two(desk)
    off = ask(5, want="draft", draft_id=desk.draft(lid("off"), name="Off"))
    second = service.wait(desk.session, desk.cleo, "bench-a", off, NOW)
    found = clashes.ways(desk.session, desk.bench, first.id or 0, second.id or 0, NOW)
    assert found.clashing == ("lid",)
    assert found.shared is None
    with pytest.raises(Conflict, match="cannot share"):
        settle(desk, first, second, SHARED)


def test_an_order_gives_both_their_places_and_keeps_the_reason(desk: Desk) -> None:
    first, second = two(desk)
    settle(desk, first, second, SECOND, "A thesis is due")
    assert first.window_starts is not None
    assert second.window_ends is not None
    assert second.window_ends <= lines.phases_of(first)[0].starts
    assert [row.reason for row in clashes.decisions(desk.session, desk.bench)] == ["A thesis is due"]
    assert clashes.decisions(desk.session, desk.bench)[0].shown["hours"][SECOND] > 100
    assert any("A thesis is due" in line for line in told(desk, desk.cleo.id))


def test_a_shared_configuration_is_one_booking_with_two_parties_who_must_both_say_yes(desk: Desk) -> None:
    first, second = two(desk)
    settle(desk, first, second, SHARED)
    assert (second.state, second.joined_id) == ("joined", first.id)
    assert first.cold_hours == 100
    assert sum(row.hours for row in lines.phases_of(first) if row.kind == WINDOW) == 100
    parties = desk.session.exec(select(Party).where(Party.booking_id == first.id)).all()
    assert {row.name: row.cold_hours for row in parties} == {"Ben": 40, "Cleo": 60}
    assert first.frozen_at is None
    number = first.draft_id or 0
    assert [row["name"] for row in drafts.find(desk.session, number).version.parties] == ["Ben", "Cleo"]
    for person, what in ((desk.ada, "asked"), (desk.ada, "approved"), (desk.ben, "yes")):
        draft_steps.take(desk.session, person, number, what, 1, "", NOW)
    with pytest.raises(Conflict, match="not approved by all"):
        service.freeze(desk.session, desk.ben, first.id or 0, NOW)
    draft_steps.take(desk.session, desk.cleo, number, "yes", 1, "", NOW)
    assert service.freeze(desk.session, desk.cleo, first.id or 0, NOW).frozen_at == NOW


def test_who_leaves_after_freezing_keeps_half_of_the_changeover(desk: Desk) -> None:
    first, second = two(desk)
    settle(desk, first, second, SHARED)
    number = first.draft_id or 0
    for person, what in ((desk.ada, "asked"), (desk.ada, "approved"), (desk.ben, "yes"), (desk.cleo, "yes")):
        draft_steps.take(desk.session, person, number, what, 1, "", NOW)
    service.freeze(desk.session, desk.ben, first.id or 0, NOW)
    whole = service.charge_of(reading.desk_of(desk.session, first, NOW), first, NOW)
    assert whole is not None
    with pytest.raises(Forbidden):
        clashes.leave(desk.session, desk.ben, first.id or 0, NOW)
    clashes.leave(desk.session, desk.cleo, first.id or 0, NOW)
    charge = next(row for row in reading.steps(desk.session, first) if row.what == reading.LEFT).data[
        "charge"
    ]
    assert charge["changeover_h"] == pytest.approx(whole.changeover_h / 2)
    assert first.cold_hours == 40
    assert [row.name for row in reading.parties(desk.session, first)] == ["Ben"]


def test_who_leaves_a_window_that_was_shortened_takes_their_part_of_what_is_left(desk: Desk) -> None:
    first, second = two(desk)
    settle(desk, first, second, SHARED)
    assert first.window_starts is not None
    reality.shorten(desk.session, desk.ben, first.id or 0, first.window_starts + hours(50), NOW)
    clashes.leave(desk.session, desk.cleo, first.id or 0, NOW)
    assert first.cold_hours == pytest.approx(20)
    assert lines.chain_of(first).window.hours == pytest.approx(20)


def _told(desk: Desk, person: Person) -> list[str]:
    query = select(Telling).where(Telling.person_id == person.id)
    return [row.what for row in desk.session.exec(query).all()]


def test_a_request_that_shared_a_cancelled_booking_waits_again_and_is_told(desk: Desk) -> None:
    first, second = two(desk)
    settle(desk, first, second, SHARED)
    service.cancel(desk.session, desk.ben, first.id or 0, NOW)
    assert (second.state, second.joined_id, second.cold_hours) == ("waiting", None, 60)
    assert any("waits for a place again" in words for words in _told(desk, desk.cleo))
    second.helper_id, second.helper_name = desk.ben.id, desk.ben.name
    moved = service.move(desk.session, desk.cleo, second.id or 0, NOW + hours(48), NOW)
    assert moved.state == "booked"


def test_who_leaves_a_shared_booking_waits_with_the_own_request_again(desk: Desk) -> None:
    first, second = two(desk)
    settle(desk, first, second, SHARED)
    clashes.leave(desk.session, desk.cleo, first.id or 0, NOW)
    assert (first.state, second.state, second.joined_id) == ("booked", "waiting", None)


def test_only_a_steward_settles_and_says_why(desk: Desk) -> None:
    first, second = two(desk)
    choice = Choice(first.id or 0, second.id or 0, FIRST, "Mine first")
    with pytest.raises(Forbidden):
        clashes.decide(desk.session, desk.ben, "bench-a", choice, NOW)
    for what, reason, field in ((FIRST, " ", "reason"), ("odd", "Because", "choice")):
        with pytest.raises(Refused) as refused:
            settle(desk, first, second, what, reason)
        assert field in refused.value.fields
    with pytest.raises(Refused):
        settle(desk, first, first, FIRST)
    running = desk.book(ask(10), at=NOW - hours(0))
    with pytest.raises(Conflict, match="begun"):
        clashes.ways(desk.session, desk.bench, running.id or 0, second.id or 0, NOW + timedelta(hours=1))
