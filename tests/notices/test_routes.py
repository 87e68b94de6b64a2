"""What reaches somebody, as they choose it, and the calendar a program reads."""

from datetime import date

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from icalendar import Calendar
from sqlmodel import select

from server.db import writing
from server.notices import feeds
from server.notices.rules import DUE, Notice
from server.people.models import Person


def address_in(page: str) -> str:
    return page.partition("<code>http://testserver")[2].partition("</code>")[0]


def test_the_letter_is_asked_for_and_given_up(member_client: TestClient) -> None:
    assert "checked" not in member_client.get("/notices").text
    assert member_client.post("/notices/digest", data={"wanted": "yes"}).status_code == 303
    page = member_client.get("/notices").text
    assert " checked" in page
    assert "No address of yours is in the book" in page
    member_client.post("/notices/digest", data={})
    assert " checked" not in member_client.get("/notices").text


def test_a_calendar_address_is_shown_once_read_and_revoked(
    member_client: TestClient, client: TestClient
) -> None:
    made = member_client.post("/notices/feeds")
    assert made.status_code == 201
    address = address_in(made.text)
    assert address not in member_client.get("/notices").text
    answer = client.get(address)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    known = {"If-None-Match": answer.headers["etag"]}
    assert client.get(address, headers=known).status_code == 304
    assert member_client.post("/notices/feeds/1/revoke").status_code == 303
    assert client.get(address).status_code == 404
    assert client.get("/due/nothing.ics").status_code == 404


def test_nobody_revokes_the_address_of_another(member_client: TestClient, steward_client: TestClient) -> None:
    member_client.post("/notices/feeds")
    assert steward_client.post("/notices/feeds/1/revoke").status_code == 404
    assert steward_client.post(f"/notices/feeds/{10**30}/revoke").status_code in (404, 422)


def test_there_are_so_many_addresses_and_no_more(member_client: TestClient) -> None:
    answers = [member_client.post("/notices/feeds").status_code for _ in range(feeds.MOST + 1)]
    assert answers == [201] * feeds.MOST + [422]


@pytest.mark.usefixtures("app")
def test_nobody_signed_out_chooses_anything(client: TestClient) -> None:
    assert client.get("/notices").status_code in (303, 401)
    assert client.post("/notices/feeds").status_code in (303, 401)


def test_due_days_are_whole_days_with_a_key_that_stays() -> None:
    """RFC 5545, 3.6.1 and 3.8.2.2: the end of whole days is exclusive; lines of 75 octets at most."""
    rows = [
        Notice(DUE, "card-S01", "Card é" * 20, "Read it", "/cautions/S01", on=date(2026, 3, 14)),
        Notice(DUE, "draft-1", "No day", "Look", "/drafts/1"),
    ]
    text = feeds.calendar(rows, "http://testserver/")
    assert feeds.calendar(rows, "http://testserver/") == text
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    (event,) = Calendar.from_ical(text).walk("VEVENT")
    assert (event.decoded("dtstart"), event.decoded("dtend")) == (date(2026, 3, 14), date(2026, 3, 15))
    assert event["url"] == "http://testserver/cautions/S01"
    later = [Notice(DUE, "card-S01", "Otherwise", "Read it", "/", on=date(2026, 4, 1))]
    (moved,) = Calendar.from_ical(feeds.calendar(later, "http://testserver")).walk("VEVENT")
    assert moved["uid"] == event["uid"]


def test_a_person_who_has_left_is_told_nothing(
    member_client: TestClient, client: TestClient, app: FastAPI
) -> None:
    address = address_in(member_client.post("/notices/feeds").text)
    with writing(app.state.engine) as session:
        for person in session.exec(select(Person)).all():
            person.active = False
        session.commit()
    assert client.get(address).status_code == 404
