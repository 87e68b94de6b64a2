"""Feeds: re-parsed, folded and ended as RFC 5545, 3.1 says, right over a clock change, nobody's secret."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from icalendar import Calendar
from sqlmodel import select

from server.bookings import feeds, reality, service
from server.bookings.feeds_models import FeedAddress
from server.bookings.holds import Held
from server.db import reading
from server.errors import NotFound, Refused
from server.history import service as history
from server.people.models import Person
from tests.bookings.conftest import NOW, Desk, ask, hours

LONG = "Größe der Lücke; über\\unter, é" * 8
LIMIT = 75
"""RFC 5545, 3.1: lines of text should not be longer than 75 octets, excluding the line break."""


def told(desk: Desk, who: Person, kind: str = "own", at: datetime = NOW) -> bytes:
    slug = "" if kind == "own" else desk.bench.slug
    _row, text = feeds.make(desk.session, who, kind, slug, at)
    return feeds.read(desk.session, text, at)


def events(text: bytes) -> list[Any]:
    return list(Calendar.from_ical(text).walk("VEVENT"))


def test_a_feed_is_folded_in_octets_and_ends_each_line_with_crlf_and_reads_back(desk: Desk) -> None:
    desk.book(ask(10))
    booking = desk.book()
    booking.purpose = LONG
    desk.session.add(booking)
    text = told(desk, desk.ben)
    assert text.endswith(b"\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"")
    rows = text.split(b"\r\n")
    assert max(map(len, rows)) <= LIMIT
    assert any(row.startswith(b" ") for row in rows)
    for row in rows:
        row.decode()  # no character is cut in two
    assert LONG in str(events(text)[1]["description"])


def test_uid_stays_and_sequence_rises_with_every_move_and_a_cancelled_one_is_kept(desk: Desk) -> None:
    booking = desk.book(ask(10), who=desk.ben)
    seen = [events(told(desk, desk.ben))[0]]
    service.move(desk.session, desk.ben, booking.id or 0, (booking.window_starts or NOW) + hours(48), NOW)
    seen.append(events(told(desk, desk.ben))[0])
    service.cancel(desk.session, desk.ben, booking.id or 0, NOW)
    seen.append(events(told(desk, desk.ben))[0])
    assert {str(row["uid"]) for row in seen} == {booking.uid}
    assert all(first["sequence"] < second["sequence"] for first, second in pairwise(seen))
    assert [str(row["status"]) for row in seen] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    assert seen[2]["dtstart"].dt == seen[1]["dtstart"].dt


def test_one_that_lost_its_place_to_a_hold_is_cancelled_at_the_time_it_had(desk: Desk) -> None:
    booking = desk.book(ask(10))
    before = events(told(desk, desk.ben))[0]
    starts = NOW + hours(1)
    service.hold(
        desk.session,
        desk.ada,
        desk.bench.slug,
        Held("fault", "Leak", "Tight", starts, starts + hours(700)),
        NOW,
    )
    if booking.phases:
        pytest.fail("the hold took no place")
    after = events(told(desk, desk.ben))[0]
    assert str(after["status"]) == "CANCELLED"
    assert after["dtstart"].dt == before["dtstart"].dt
    assert after["sequence"] > before["sequence"]


def test_hours_stay_hours_over_the_change_of_the_clock(desk: Desk) -> None:
    # Europe/Vienna, 29 March 2026, 02:00 becomes 03:00.
    at = datetime(2026, 3, 27, 8, tzinfo=UTC)
    booking = desk.book(ask(72), at)
    found = events(told(desk, desk.ben, at=at))[0]
    starts, ends = found["dtstart"].dt, found["dtend"].dt
    assert found["dtstart"].to_ical().endswith(b"Z")
    assert (booking.window_ends or at) - (booking.window_starts or at) == timedelta(hours=72)
    assert starts <= (booking.window_starts or at)
    assert (booking.window_ends or at) <= ends
    text = str(found["description"])
    assert "CET" in text
    assert "CEST" in text


def test_free_and_busy_tells_neither_names_nor_purposes(desk: Desk) -> None:
    booking = desk.book(ask(10))
    starts = NOW + timedelta(days=20)
    held = Held("service", "New adsorber", "Ran two hours", starts, starts + hours(48))
    service.hold(desk.session, desk.ada, desk.bench.slug, held, NOW)
    text = told(desk, desk.cleo, "free-busy")
    for secret in (booking.purpose, booking.owner_name, "adsorber", booking.uid, "VEVENT"):
        assert secret.encode() not in text.replace(b"Bench", b"")
    found: Any = Calendar.from_ical(text).walk("VFREEBUSY")[0]
    kinds = [row.params["FBTYPE"] for row in found["freebusy"]]
    assert kinds == ["BUSY", "BUSY-UNAVAILABLE"]
    begins = datetime.fromisoformat(booking.phases[0]["starts"])
    assert found["freebusy"][0].to_ical().decode().startswith(f"{begins:%Y%m%dT%H%M%SZ}/")
    assert all(key in found for key in ("uid", "dtstamp", "dtstart", "dtend"))


def test_a_cryostats_feed_keeps_purposes_from_those_they_do_not_concern(desk: Desk) -> None:
    booking = desk.book(ask(10))
    assert booking.purpose.encode() in told(desk, desk.ben, "cryostat")
    assert booking.purpose.encode() in told(desk, desk.ada, "cryostat")
    assert booking.purpose.encode() not in told(desk, desk.cleo, "cryostat")
    assert not events(told(desk, desk.cleo))


def test_one_who_waits_and_never_had_a_place_is_no_event(desk: Desk) -> None:
    service.wait(desk.session, desk.ben, desk.bench.slug, ask(10), NOW)
    assert not events(told(desk, desk.ben))


def test_what_is_shortened_while_it_runs_ends_earlier_in_the_feed(desk: Desk) -> None:
    booking = desk.book(ask(20))
    before = events(told(desk, desk.ben))[0]
    at = (booking.window_starts or NOW) + hours(2)
    reality.shorten(desk.session, desk.ben, booking.id or 0, at + hours(1), at)
    after = events(told(desk, desk.ben, at=at))[0]
    assert after["dtend"].dt < before["dtend"].dt
    assert after["sequence"] > before["sequence"]


def test_an_address_is_kept_as_a_hash_and_a_revoked_one_opens_nothing(desk: Desk) -> None:
    row, text = feeds.make(desk.session, desk.ben, "own", "", NOW)
    assert text not in repr(row.model_dump())
    with pytest.raises(NotFound):
        feeds.revoke(desk.session, desk.cleo, row.id or 0, NOW)
    feeds.revoke(desk.session, desk.ben, row.id or 0, NOW)
    with pytest.raises(NotFound):
        feeds.read(desk.session, text, NOW)
    lines = [entry.what for entry in history.of(desk.session, f"person/{desk.ben.id}")]
    assert any("revoked" in line for line in lines)
    assert any("made" in line for line in lines)


def test_the_address_of_somebody_who_has_left_opens_nothing(desk: Desk) -> None:
    _row, text = feeds.make(desk.session, desk.ben, "own", "", NOW)
    desk.ben.active = False
    desk.session.add(desk.ben)
    with pytest.raises(NotFound):
        feeds.read(desk.session, text, NOW)


def test_what_it_tells_must_be_chosen(desk: Desk) -> None:
    for kind, slug in (("", ""), ("all", ""), ("cryostat", "")):
        with pytest.raises(Refused):
            feeds.make(desk.session, desk.ben, kind, slug, NOW)
    with pytest.raises(NotFound):
        feeds.make(desk.session, desk.ben, "cryostat", "no-such", NOW)


def test_a_feed_is_read_without_signing_in_and_not_sent_twice(
    app: FastAPI, member: Person, sign_in: Callable[[Person], TestClient], client: TestClient
) -> None:
    ben = sign_in(member)
    made = ben.post("/plan/feeds", data={"kind": "own"})
    assert made.status_code == 201
    address = made.text.split('class="secret">')[1].split("<")[0].removeprefix("http://testserver")
    assert address not in ben.get("/plan/feeds").text
    first = client.get(address)
    assert first.status_code == 200
    assert first.headers["content-type"] == "text/calendar; charset=utf-8"
    again = client.get(address, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert client.get(address, headers={"If-None-Match": '"old"'}).status_code == 200
    assert client.get("/feeds/unknown.ics").status_code == 404
    with reading(app.state.engine) as session:
        row = session.exec(select(FeedAddress)).one()
    assert ben.post(f"/plan/feeds/{row.id}/revoke").status_code == 303
    assert client.get(address).status_code == 404
    assert ben.post("/plan/feeds", data={"kind": "nothing"}).status_code == 422
    assert client.get("/plan/feeds").status_code == 303
