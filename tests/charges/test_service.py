"""The lines of a month: made once, priced by the day, disputed and answered."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
import sqlalchemy as sa
from sqlmodel import select

from server.bookings import accounts, checks, fairness, lines, reading, reality, writing
from server.bookings import service as bookings
from server.bookings.models import Booking, Group, Party
from server.charges import finance, finding, service
from server.charges.models import ChargeLine
from server.charges.rates import Entered
from server.cooldowns import service as cooldowns
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.people.models import Person
from server.stock import service as stock
from server.stock.models import Movement
from tests.bookings.conftest import NOW, Desk, ask, hours
from tests.charges.conftest import rated
from tests.factories import lid
from tests.stock.factories import a_lot, an_item

MONTH = "2026-03"
LATER = NOW + timedelta(days=10)
BORED = lid("bored", bore_diameter_m=0.02)


def _line(desk: Desk, what: str) -> finding.Told:
    return next(row for row in finding.of_month(desk.session, desk.ada, MONTH) if row.line.what == what)


def test_a_month_is_made_once_and_says_what_each_line_is_for(desk: Desk, optics: Group) -> None:
    rated(desk)
    booking = desk.book(ask(10, group_id=optics.id))
    reality.give_back(desk.session, desk.ada, booking.id or 0, 4, "instrument", "Chiller", NOW + hours(12))
    assert service.make(desk.session, desk.ada, MONTH, LATER).gaps == ()
    cold, lost = _line(desk, "cold").line, _line(desk, "lost").line
    assert (cold.seconds, cold.cents, cold.currency) == (6 * 3600, 6000, "EUR")
    assert (cold.payer, cold.account, cold.basis) == ("Optics", "A-17", "planned")
    assert (lost.seconds, lost.cents) == (4 * 3600, 0)
    assert "nothing is charged" in lost.why
    assert service.make(desk.session, desk.ada, MONTH, LATER).lines == 0
    assert service.make(desk.session, desk.ada, "2026-02", LATER).lines == 0


def test_what_an_instrument_took_is_taken_off_even_after_the_line_was_made(desk: Desk, optics: Group) -> None:
    rated(desk)
    booking = desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, MONTH, LATER)
    reality.give_back(desk.session, desk.ada, booking.id or 0, 4, "instrument", "Chiller", NOW + hours(12))
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert (_line(desk, "cold").cents, _line(desk, "cold").line.cents) == (6000, 10000)
    reality.give_back(desk.session, desk.ada, booking.id or 0, 6, "instrument", "Chiller", NOW + hours(12))
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert _line(desk, "cold").cents == 0
    assert service.make(desk.session, desk.ada, MONTH, LATER).lines == 0


def test_what_is_disputed_is_left_to_people(desk: Desk, optics: Group) -> None:
    rated(desk)
    booking = desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, MONTH, LATER)
    service.dispute(desk.session, desk.ben, _line(desk, "cold").line.id or 0, "Warm", LATER)
    reality.give_back(desk.session, desk.ada, booking.id or 0, 4, "instrument", "Chiller", NOW + hours(12))
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert _line(desk, "cold").cents == 10000


def test_who_left_after_the_freeze_pays_half_and_the_rest_is_not_charged_twice(
    desk: Desk, optics: Group
) -> None:
    rated(desk)
    rated(desk, "no group")
    draft = desk.draft(BORED)
    booking = desk.book(ask(10, group_id=optics.id, want="draft", draft_id=draft))
    whole = checks.changeover_hours(lines.phases_of(booking))
    for person, group in ((desk.ben, optics.id), (desk.cleo, None), (desk.ada, None)):
        desk.session.add(_party(booking, person, group))
    for person in (desk.cleo, desk.ada):
        data = {"person_id": person.id, "charge": {"changeover_h": whole / 4, "cold_h": 0.0}}
        writing.step(desk.session, person, booking, reading.LEFT, NOW, person.name, data)
    assert service.make(desk.session, desk.ada, MONTH, LATER).gaps == ()
    rows = finding.of_month(desk.session, desk.ada, MONTH)
    shares = [row.seconds / 3600 for row in rows if row.line.what == "changeover"]
    assert sorted(shares) == pytest.approx([whole / 4, whole / 4, whole / 2], abs=1e-3)
    assert {row.line.payer for row in rows} == {"Optics", "Cleo", "Ada"}
    assert {row.line.payer for row in finding.of_month(desk.session, desk.cleo, MONTH)} == {"Cleo"}


def _party(booking: Booking, person: Person, group_id: int | None) -> Party:
    return Party(
        booking_id=booking.id or 0,
        person_id=person.id or 0,
        name=person.name,
        group_id=group_id,
        cold_hours=5,
    )


def test_the_queries_of_a_month_do_not_grow_with_its_lines(desk: Desk, optics: Group) -> None:
    rated(desk)
    asked: list[str] = []

    def count() -> int:
        begun = len(asked)
        service.make(desk.session, desk.ada, MONTH, LATER)
        return len(asked) - begun

    @sa.event.listens_for(desk.session.get_bind(), "before_cursor_execute")
    def _heard(_c: object, _k: object, words: str, *_more: object) -> None:
        asked.append(words)

    desk.book(ask(3, group_id=optics.id))
    count()
    few = count()
    for _ in range(6):
        desk.book(ask(3, group_id=optics.id))
    count()
    assert count() == few


def test_a_cooldown_of_which_nobody_wrote_down_the_base_says_nothing_of_the_hours(
    desk: Desk, optics: Group
) -> None:
    rated(desk)
    cooldowns.prepare(desk.session, desk.ada, desk.bench.slug, "", NOW - hours(2), NOW)
    desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert (_line(desk, "cold").line.basis, _line(desk, "cold").line.seconds) == ("planned", 36000)


def test_what_is_not_over_yet_has_no_line(desk: Desk, optics: Group) -> None:
    rated(desk)
    desk.book(ask(10, group_id=optics.id))
    assert service.make(desk.session, desk.ada, MONTH, NOW + hours(1)).lines == 0


def test_without_a_rate_the_line_is_left_out_and_named_until_there_is_one(desk: Desk, optics: Group) -> None:
    desk.book(ask(10, group_id=optics.id))
    made = service.make(desk.session, desk.ada, MONTH, LATER)
    assert made.lines == 0
    assert any("cold hours" in gap and "internal" in gap for gap in made.gaps)
    rated(desk)
    assert service.make(desk.session, desk.ada, MONTH, LATER).lines >= 1


def test_a_line_keeps_the_rate_of_its_day(desk: Desk, optics: Group) -> None:
    rated(desk)
    later = Entered("internal", "cold", "99", "EUR", date(2026, 6, 1))
    service.enter_rate(desk.session, desk.ada, later, NOW)
    desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert _line(desk, "cold").line.cents_per_hour == 1000


def test_a_late_cancellation_is_charged_as_it_was_told(desk: Desk, optics: Group) -> None:
    rated(desk)
    draft = desk.draft(BORED)
    booking = desk.book(ask(10, group_id=optics.id, want="draft", draft_id=draft))
    bookings.cancel(desk.session, desk.ben, booking.id or 0, NOW)
    service.make(desk.session, desk.ada, MONTH, LATER)
    rows = finding.of_month(desk.session, desk.ada, MONTH)
    told = next(row.data["charge"] for row in _steps(desk, booking.id or 0) if row.what == "Cancelled")
    assert told["changeover_h"] > 0
    assert {row.line.what: row.line.seconds / 3600 for row in rows} == pytest.approx(
        {what: hours for what, hours in _charged(told) if hours}
    )
    assert all(row.line.basis == "written down" and row.line.why == told["why"] for row in rows)


def _charged(told: dict[str, float]) -> list[tuple[str, float]]:
    return [("changeover", told["changeover_h"]), ("cold", told["cold_h"])]


def _steps(desk: Desk, number: int):  # type: ignore[no-untyped-def]
    return reading.steps(desk.session, reading.find(desk.session, number))


def test_what_was_taken_from_a_promise_is_charged_at_its_price(desk: Desk, optics: Group) -> None:
    rated(desk)
    item = an_item(desk.session, per_opening=2, price=3, currency="EUR")
    lot = a_lot(desk.session, item, "50")
    draft = desk.draft(BORED)
    booking = desk.book(ask(10, group_id=optics.id, want="draft", draft_id=draft))
    promised = next(row for row in _steps(desk, booking.id or 0) if row.what == "Parts promised")
    (key,) = promised.data["reservations"]
    stock.use(desk.session, desk.ben, item.id or 0, 1.5, "opening", NOW, lot_id=lot.id, reservation_id=key)
    assert desk.session.exec(select(Movement)).first() is not None
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert _line(desk, "used").line.cents == 450
    for price in (Decimal(9), None):
        item.price = price
        desk.session.add(item)
        assert service.make(desk.session, desk.ada, MONTH, LATER).lines == 0
    item.price = Decimal(4)
    stock.use(desk.session, desk.ben, item.id or 0, 0.5, "opening", NOW, lot_id=lot.id, reservation_id=key)
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert _line(desk, "used").cents == 800


def test_a_dispute_is_answered_by_a_line_that_corrects_and_nothing_is_rewritten(
    desk: Desk, optics: Group
) -> None:
    rated(desk)
    desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, MONTH, LATER)
    number = _line(desk, "cold").line.id or 0
    with pytest.raises(Refused):
        service.dispute(desk.session, desk.ben, number, " ", LATER)
    service.dispute(desk.session, desk.ben, number, "It was warm for two hours", LATER)
    with pytest.raises(Conflict):
        service.dispute(desk.session, desk.ben, number, "Again", LATER)
    with pytest.raises(Forbidden):
        service.answer(desk.session, desk.ben, number, "Yes", 8, LATER)
    service.answer(desk.session, desk.ada, number, "The log says so", 8, LATER)
    told = _line(desk, "cold")
    assert (told.state, told.cents, told.seconds, told.line.cents) == ("corrected", 8000, 8 * 3600, 10000)
    assert [row.cents for row in told.corrections] == [-2000]
    with pytest.raises(Conflict):
        service.answer(desk.session, desk.ada, number, "Again", None, LATER)
    service.dispute(desk.session, desk.ben, number, "Still", LATER)
    service.answer(desk.session, desk.ada, number, "No", None, LATER)
    assert _line(desk, "cold").state == "stands"
    table = finance.table(finding.of_month(desk.session, desk.ada, MONTH)).split("\r\n")
    assert table[0].startswith("month,day,line,corrects,payer")
    assert sum("cold hours" in row for row in table) == 2
    assert any(",-2.0000,10.00,-20.00,EUR," in row for row in table)


def test_another_groups_lines_are_not_shown_and_not_disputed(desk: Desk, optics: Group) -> None:
    rated(desk)
    desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, MONTH, LATER)
    assert finding.of_month(desk.session, desk.cleo, MONTH) == []
    assert finding.of_month(desk.session, desk.ben, MONTH) != []
    number = _line(desk, "cold").line.id or 0
    with pytest.raises(Forbidden):
        service.dispute(desk.session, desk.cleo, number, "Mine?", LATER)
    with pytest.raises(NotFound):
        service.dispute(desk.session, desk.ben, number + 99, "Where?", LATER)
    with pytest.raises(Forbidden):
        service.make(desk.session, desk.ben, MONTH, LATER)


def test_a_build_is_frozen_only_with_a_valid_account(desk: Desk, optics: Group) -> None:
    ended = accounts.Entered("A-17", date(2026, 1, 1), date(2026, 3, 1))
    accounts.enter(desk.session, desk.ada, optics.id or 0, ended, NOW)
    draft = desk.draft(BORED)
    booking = desk.book(ask(10, group_id=optics.id, want="draft", draft_id=draft))
    assert booking.frozen_at is None
    with pytest.raises(Conflict, match="Optics has no account"):
        bookings.freeze(desk.session, desk.ben, booking.id or 0, NOW)
    longer = accounts.Entered("A-17", date(2026, 1, 1), None)
    accounts.enter(desk.session, desk.ada, optics.id or 0, longer, NOW)
    assert bookings.freeze(desk.session, desk.ben, booking.id or 0, NOW).frozen_at == NOW
    assert fairness.group(desk.session, optics.id or 0).kind == "internal"


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        (Entered("", "cold", "1", "EUR", date(2026, 1, 1)), "group_kind"),
        (Entered("internal", "tea", "1", "EUR", date(2026, 1, 1)), "what"),
        (Entered("internal", "cold", "-1", "EUR", date(2026, 1, 1)), "per_hour"),
        (Entered("internal", "cold", "1.234", "EUR", date(2026, 1, 1)), "per_hour"),
        (Entered("internal", "cold", "1", "euro", date(2026, 1, 1)), "currency"),
        (Entered("internal", "cold", "1", "EUR", None), "from_day"),
    ],
)
def test_a_rate_that_cannot_be_is_refused_with_its_field(desk: Desk, wanted: Entered, field: str) -> None:
    with pytest.raises(Refused) as refused:
        service.enter_rate(desk.session, desk.ada, wanted, NOW)
    assert set(refused.value.fields) == {field}


def test_the_database_refuses_to_rewrite_a_line(desk: Desk, optics: Group) -> None:
    rated(desk)
    desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, MONTH, LATER)
    row = desk.session.exec(select(ChargeLine)).first()
    assert row is not None
    row.cents = 1
    desk.session.add(row)
    with pytest.raises(Exception, match="charge_line"):
        desk.session.flush()
