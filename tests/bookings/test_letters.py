"""Who must know of a booking is written to, in the transaction of what is told."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.bookings import service
from server.bookings.holds import Held
from server.mail.models import Letter
from server.people import mailing
from server.people.models import Person
from tests.bookings.conftest import NOW, Desk, ask, hours


def letters(desk: Desk) -> list[Letter]:
    desk.session.flush()
    return list(desk.session.exec(select(Letter)).all())


def test_an_owner_is_written_to_when_their_booking_is_moved_displaced_and_cancelled(desk: Desk) -> None:
    mailing.set_address(desk.session, desk.ben, "ben@example.org", NOW)
    booking = desk.book(ask(10))
    number = booking.id or 0
    assert letters(desk) == []
    service.move(desk.session, desk.ada, number, (booking.window_starts or NOW) + hours(48), NOW)
    starts = NOW + hours(2)
    held = Held("fault", "Leak", "It is tight", starts, starts + hours(700))
    service.hold(desk.session, desk.ada, desk.bench.slug, held, NOW)
    service.cancel(desk.session, desk.ada, number, NOW)
    found = letters(desk)
    assert {row.to_address for row in found} == {"ben@example.org"}
    assert all(row.about == f"booking/{number}" for row in found)
    words = " ".join(row.subject for row in found)
    for part in ("Moved", "lost its place", "cancelled"):
        assert part in words


def test_what_is_rolled_back_is_told_to_nobody(desk: Desk) -> None:
    mailing.set_address(desk.session, desk.ben, "ben@example.org", NOW)
    booking = desk.book(ask(10))
    desk.session.commit()
    service.cancel(desk.session, desk.ada, booking.id or 0, NOW)
    assert letters(desk)
    desk.session.rollback()
    assert letters(desk) == []


def test_who_did_it_gets_no_letter_and_who_gave_no_address_neither(desk: Desk) -> None:
    booking = desk.book(ask(10))
    service.cancel(desk.session, desk.ada, booking.id or 0, NOW)
    assert letters(desk) == []


@pytest.mark.parametrize("address", ["nobody", "a@b\x00", "x" * 300 + "@y.z"])
def test_the_page_refuses_what_is_no_address(
    member: Person, sign_in: Callable[[Person], TestClient], address: str
) -> None:
    answer = sign_in(member).post("/account/mail", data={"address": address})
    assert answer.status_code == (303 if "\x00" in address else 422)


def test_only_a_steward_reads_the_outbox(
    member: Person, steward_client: TestClient, sign_in: Callable[[Person], TestClient]
) -> None:
    assert sign_in(member).get("/people/outbox").status_code == 403
    assert steward_client.get("/people/outbox").status_code == 200
    assert steward_client.post("/account/mail", data={"address": "ada@example.org"}).status_code == 303
    assert "ada@example.org" in steward_client.get("/account/mail").text
