"""The first page and its API, as a person and a program see them, on both engines."""

from collections.abc import Iterator
from datetime import timedelta

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.cooldowns import readings
from server.cryostats import guards
from server.db import now, writing
from server.faults import service as faults
from server.people.models import Person
from tests.cooldowns.bench import a_channel
from tests.factories import a_bench, give_grade, lid, token_of, wire


@pytest.fixture
def book(app: FastAPI, steward: Person, member: Person) -> Iterator[Session]:
    """A bench with a loom and a lid, which the member operates."""
    slug = a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Shield lid"))
    give_grade(app.state.engine, slug, member, 1)
    with writing(app.state.engine) as session:
        yield session


@pytest.mark.usefixtures("app")
def test_the_first_page_leads_to_today_and_asks_who_is_there(client: TestClient) -> None:
    assert client.get("/today").status_code in (303, 401)
    assert "/sign-in" in client.get("/").headers.get("location", "/sign-in")


def test_the_first_address_is_todays(member_client: TestClient) -> None:
    assert member_client.get("/").headers["location"] == "/today"


def test_an_empty_book_has_a_first_page(member_client: TestClient) -> None:
    page = member_client.get("/today").text
    assert "No cryostat yet" in page
    assert "Nothing waits for you" in page


@pytest.mark.usefixtures("book")
def test_a_card_says_what_is_inside_whether_the_lid_is_on_and_who_has_it(member_client: TestClient) -> None:
    page = member_client.get("/today").text
    for words in ("Bench A", "Loom", "Shield lid", ">on</span>", "nobody has it", "no thermometer is logged"):
        assert words in page, words
    assert "nobody entered its state" in page


def test_a_reading_is_shown_with_its_age_and_an_old_one_without_its_value(
    book: Session, steward: Person, member_client: TestClient
) -> None:
    cryostat = guards.find(book, "bench-a")
    a_channel(book, steward, cryostat)
    at = now() - timedelta(minutes=4)
    readings.store(
        book, steward, cryostat, {"Platform": (np.array([at.timestamp()]), np.array([3.4567]))}, now()
    )
    book.commit()
    page = member_client.get("/today").text
    assert "3.46 K" in page
    assert "4 min ago" in page


def test_an_old_reading_is_not_shown(book: Session, steward: Person, member_client: TestClient) -> None:
    cryostat = guards.find(book, "bench-a")
    a_channel(book, steward, cryostat)
    at = now() - timedelta(hours=3)
    readings.store(
        book, steward, cryostat, {"Platform": (np.array([at.timestamp()]), np.array([3.4567]))}, now()
    )
    book.commit()
    page = member_client.get("/today").text
    assert "3.4" not in page
    assert "no reading now, last 3 h ago" in page
    assert "Look at the logger" in page


def test_what_somebody_wrote_is_shown_as_text(
    book: Session, steward: Person, member_client: TestClient
) -> None:
    faults.report(book, steward, 1, "<script>alert(1)</script>", "Can", now())
    book.commit()
    page = member_client.get("/today").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_a_program_gets_the_same_as_the_page(
    book: Session, app: FastAPI, member: Person, client: TestClient
) -> None:
    faults.report(book, member, 1, "Frost on the can", "Can", now(), "stops-work")
    book.commit()
    header = {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}
    rows = client.get("/api/v1/today", headers=header).json()
    assert [row["kind"] for row in rows] == ["unexplained", "missing"]
    assert rows[0]["address"] == "/faults/1"
    assert client.get("/api/v1/today").status_code == 401
