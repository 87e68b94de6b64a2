"""The slip of a hand-over and the card on the door: what they say, who may write, what is refused."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.bookings import lines, service, sheets
from server.bookings.holds import Held
from server.bookings.models import Telling
from server.cooldowns import night_orders
from server.cooldowns.night_rules import Contact
from server.errors import Conflict, Forbidden, NotFound, Refused
from tests.bookings.conftest import NOW, Desk, ask, hours
from tests.bookings.test_routes import ada, ben, bench, taken  # noqa: F401 - fixtures


def test_the_card_says_state_owner_end_and_whom_to_call(desk: Desk) -> None:
    booking = desk.book(ask(10))
    following = desk.book(ask(5))
    night_orders.write_roster(
        desk.session, desk.ada, desk.bench.slug, [Contact("Ada", "+43 1 555 0100")], False, NOW
    )
    at = (booking.window_starts or NOW) + hours(1)
    card = sheets.door(desk.session, desk.bench.slug, at)
    assert card.words == "cold"
    assert card.booking is not None
    assert card.booking.id == booking.id
    assert card.until == lines.phases_of(booking)[-1].ends
    assert card.next is not None
    assert card.next.id == following.id
    assert [row.name for row in card.contacts] == ["Ada"]


def test_the_card_of_a_held_cryostat_says_so(desk: Desk) -> None:
    held = Held("fault", "Leak", "It is tight", NOW, NOW + hours(20))
    service.hold(desk.session, desk.ada, desk.bench.slug, held, NOW)
    card = sheets.door(desk.session, desk.bench.slug, NOW + hours(1))
    assert card.hold is not None
    assert card.until == held.ends
    assert card.booking is None


def test_a_hand_over_is_written_and_the_next_owner_told(desk: Desk) -> None:
    booking = desk.book(ask(10))
    desk.book(ask(5), who=desk.ada)
    at = (booking.window_ends or NOW) - hours(1)
    number = booking.id or 0
    assert sheets.slip(desk.session, desk.ben, number, at).next is not None
    sheets.hand_over(desk.session, desk.ben, number, "cold", "Lid as found", at)
    said = sheets.slip(desk.session, desk.ada, number, at).said
    assert said is not None
    assert said.note.startswith(sheets.LEFT["cold"])
    told = desk.session.exec(select(Telling).where(Telling.person_id == desk.ada.id)).all()
    assert any("handed over" in row.what for row in told)


def test_only_its_people_hand_over_and_only_what_has_begun(desk: Desk) -> None:
    booking = desk.book(ask(10), who=desk.ben)
    number, at = booking.id or 0, (booking.window_starts or NOW) + hours(1)
    with pytest.raises(Forbidden):
        sheets.hand_over(desk.session, desk.cleo, number, "cold", "", at)
    with pytest.raises(Conflict):
        sheets.hand_over(desk.session, desk.ben, number, "cold", "", NOW - timedelta(days=1))
    with pytest.raises(Refused):
        sheets.hand_over(desk.session, desk.ben, number, "tidy", "", at)
    with pytest.raises(NotFound):
        sheets.door(desk.session, "no-such", at)


def test_the_pages_of_both_sheets(ben: TestClient) -> None:  # noqa: F811
    where = taken(ben)
    assert "Hand-over of Bench A" in ben.get(f"{where}/slip").text
    assert "Who has it" in ben.get("/cryostats/bench-a/door").text
    assert ben.post(f"{where}/slip", data={"left": "cold"}).status_code == 409
    assert ben.get("/bookings/999999999999/slip").status_code == 404
    assert "/slip" in ben.get(where).text
