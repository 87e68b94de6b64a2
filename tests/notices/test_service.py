"""What reaches whom: each kind of notice from the room it comes from, on both engines."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
import sqlalchemy as sa
from sqlmodel import Session

from server.bookings.models import Booking
from server.cautions.forms import Local
from server.cautions.service import alter, seed
from server.cooldowns import channels
from server.cryostats import draft_steps, instruments, samples
from server.cryostats.samples import Described
from server.faults import service as faults
from server.laboratory.service import set_up
from server.notices import service
from server.notices.rules import STOPS, Notice
from server.people.models import Person
from server.people.service import CommandLine
from server.stock import items, lending, moving, spec
from server.stock.lending import Lending
from server.stock.moving import Receipt
from tests.bookings.conftest import Desk, ask, furnished
from tests.cooldowns.bench import PLATFORM, a_channel, some
from tests.cooldowns.telling import AT_BASE, BEGUN, whole
from tests.factories import AT, a_cooler, lid, logged

NOW = datetime(2026, 3, 18, 9, tzinfo=UTC)


@pytest.fixture
def desk(session: Session) -> Desk:
    """Bench A, cold; Ada its steward, Ben who rewires it, Cleo who operates it."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    seed(session)
    return furnished(session)


@pytest.fixture
def told(desk: Desk) -> Callable[..., list[Notice]]:
    """What somebody is told, of one kind."""

    def of(person: Person, kind: str, now: datetime = NOW) -> list[Notice]:
        return [row for row in service.for_person(desk.session, person, now) if row.kind == kind]

    return of


Told = Callable[..., list[Notice]]


def grease(session: Session, steward: Person, **more: object) -> int:
    wanted = {"floor": Decimal(10), "stops_work": True, **more}
    item = items.add(session, steward, spec.Spec("grease", "Grease", "g", **wanted), AT)  # type: ignore[arg-type]
    return item.id or 0


def test_an_orderly_book_has_nothing_to_say(desk: Desk) -> None:
    for person in (desk.ada, desk.ben, desk.cleo):
        assert service.for_person(desk.session, person, NOW) == []


def test_what_is_below_its_floor_stops_work_and_only_the_steward_is_told_to_order(
    desk: Desk, told: Told
) -> None:
    grease(desk.session, desk.ada)
    (steward,), (user,) = told(desk.ada, "low"), told(desk.cleo, "low")
    assert (steward.step, steward.address, steward.weight) == ("Order it", "/stock/orders", STOPS)
    assert (user.step, user.address) == ("Ask the steward to order it", "/stock/items/grease")


def test_somebody_without_a_grade_is_not_told_of_the_stock_room(desk: Desk, told: Told) -> None:
    grease(desk.session, desk.ada)
    instruments.give_grade(desk.session, CommandLine(), desk.bench, desk.cleo, 0, NOW)
    assert told(desk.cleo, "low") == []


def test_a_lot_is_named_before_it_goes_bad_and_after(desk: Desk, told: Told) -> None:
    key = grease(desk.session, desk.ada, floor=Decimal(0))
    soon = Receipt(key, Decimal(5), expires_on=(NOW + timedelta(days=30)).date())
    moving.receive(desk.session, desk.ada, soon, AT)
    assert told(desk.ben, "expiring")[0].step == "Use it first, or order"
    assert told(desk.ben, "expiring", NOW - timedelta(days=1)) == []
    assert told(desk.ben, "expiring", NOW + timedelta(days=31))[0].step == "Look, and discard it"


def test_what_was_lent_and_a_card_to_be_read_again_are_due(desk: Desk, told: Told) -> None:
    key = grease(desk.session, desk.ada, floor=Decimal(0))
    moving.receive(desk.session, desk.ada, Receipt(key, Decimal(5)), AT)
    lending.lend(desk.session, desk.ada, Lending(key, Decimal(1), "Room 12", NOW.date()), AT)
    alter(desk.session, desk.ada, "S01", Local("", "Ada", NOW.date() - timedelta(days=1)), AT)
    assert [row.key for row in told(desk.ada, "due")] == ["card-S01", "loan-1"]
    assert [row.key for row in told(desk.ben, "due")] == ["loan-1"]


def test_a_draft_waits_for_the_steward_then_for_nobody(desk: Desk, told: Told) -> None:
    number = desk.draft(lid(), approved=False)
    assert told(desk.ada, "due") == []
    draft_steps.take(desk.session, desk.ben, number, "asked", 1, "", AT)
    (due,) = told(desk.ada, "due")
    assert (due.address, due.step) == (f"/drafts/{number}", "Approve it, or send it back")
    assert told(desk.ben, "due") == []
    draft_steps.take(desk.session, desk.ada, number, "sent back", 1, "Which lid?", AT)
    assert told(desk.ada, "due") == []
    assert told(desk.ben, "due")[0].step == "Mend what was asked, and ask again"


def test_a_booking_that_lost_its_place_is_its_owners_and_the_stewards(desk: Desk, told: Told) -> None:
    booked = desk.book(ask())
    desk.session.execute(sa.update(Booking).values(state="displaced", occupancy_id=None))
    (mine,) = told(desk.ben, "overlapping")
    assert (mine.address, mine.weight) == (f"/bookings/{booked.id}", STOPS)
    assert len(told(desk.ada, "overlapping")) == 1
    assert told(desk.cleo, "overlapping") == []


def test_a_cooldown_beyond_its_band_is_told_of_and_one_inside_is_not(desk: Desk, told: Told) -> None:
    a_cooler(desk.session, desk.bench)
    logged(desk.session, desk.ada, desk.bench, lid(label="Lid again"))
    instruments.enter_state(desk.session, desk.ada, desk.bench, "pumping", BEGUN, "over", BEGUN)
    whole(desk.session, desk.ada, desk.bench, base={**AT_BASE, "platform_K": 9.0}, end=False)
    (warm,) = [row for row in told(desk.cleo, "warm") if "platform" in row.what]
    assert warm.address == "/cryostats/bench-a/cooldowns/1/diagnosis"
    assert warm.weight == STOPS


def test_a_base_nobody_wrote_down_is_missed_after_two_days(desk: Desk, told: Told) -> None:
    from server.cooldowns import service as cooldowns
    from tests.cooldowns.telling import HOUR, begun

    a_cooler(desk.session, desk.bench)
    instruments.enter_state(desk.session, desk.ada, desk.bench, "pumping", BEGUN, "over", BEGUN)
    cooldowns.prepare(desk.session, desk.ada, desk.bench.slug, "", BEGUN - 2 * HOUR, BEGUN)
    begun(desk.session, desk.ada, desk.bench)
    assert told(desk.ben, "missing", BEGUN + 48 * HOUR) == []
    (row,) = told(desk.ben, "missing", BEGUN + 49 * HOUR)
    assert row.address == "/cryostats/bench-a/cooldowns/1"


def test_a_fault_is_unexplained_until_its_cause_is_found(desk: Desk, told: Told) -> None:
    fault = faults.report(desk.session, desk.cleo, desk.bench.id, "Frost", "Can", NOW, "stops-work")
    assert [row.weight for row in told(desk.ada, "unexplained")] == [STOPS]
    faults.cause_found(desk.session, desk.ada, fault.id or 0, "ring-dirty", "A hair", NOW)
    assert told(desk.ada, "unexplained") == []


def test_a_fault_of_another_cryostat_is_its_own_peoples(desk: Desk, told: Told) -> None:
    faults.report(desk.session, desk.ada, desk.bench.id, "Frost", "Can", NOW)
    instruments.give_grade(desk.session, CommandLine(), desk.bench, desk.cleo, 0, NOW)
    assert told(desk.cleo, "unexplained") == []
    assert len(told(desk.ben, "unexplained")) == 1


def test_a_silent_logger_is_one_notice_until_nothing_is_expected_of_it(desk: Desk, told: Told) -> None:
    channel = a_channel(desk.session, desk.ada, desk.bench)
    some(desk.session, desk.ada, desk.bench, [3.4, 3.5])
    (row,) = told(desk.cleo, "silent")
    assert "Platform silent, last reading 4 days ago" in row.what
    channels.end(desk.session, desk.ada, desk.bench, channel.id or 0, NOW)
    assert told(desk.cleo, "silent") == []


def test_the_newest_reading_is_told_and_none_older_than_it_may_be(desk: Desk) -> None:
    a_channel(desk.session, desk.ada, desk.bench)
    a_channel(desk.session, desk.ada, desk.bench, PLATFORM.__class__("Never", "temperature", "K", "shield"))
    some(desk.session, desk.ada, desk.bench, [3.4, 3.5])
    at = datetime(2026, 3, 14, 12, 5, tzinfo=UTC)
    found = {row.channel.name: row for row in service.floor_now(desk.session, at).newest[desk.bench.id or 0]}
    assert found["Platform"].value == pytest.approx(3.5)
    assert (found["Never"].value, found["Never"].last_at) == (None, None)
    late = service.floor_now(desk.session, NOW).newest[desk.bench.id or 0]
    assert [row.value for row in late] == [None, None]


def test_what_nobody_entered_is_missing(desk: Desk, told: Told) -> None:
    logged(desk.session, desk.ada, desk.bench, lid("not-recorded", label="Lid"))
    assert [row.step for row in told(desk.ben, "missing")] == ["Look, and enter it"]
    assert told(desk.cleo, "missing") == []


def test_a_sample_of_unapproved_hazard_is_the_stewards(desk: Desk, told: Told) -> None:
    said = Described("Arsenide", desk.ben.id or 0, "toxic", "grease", 1, if_breaks="Close the lid")
    made = samples.put_in(desk.session, desk.ben, "bench-a", said, NOW, NOW.date())
    assert [row.weight for row in told(desk.ada, "missing")] == [STOPS]
    assert told(desk.ben, "missing") == []
    samples.approve(desk.session, desk.ada, made.id or 0, "", NOW)
    assert told(desk.ada, "missing") == []
