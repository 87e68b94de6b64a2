"""The JSON face: what is booked, what is free, a race with one winner, cancelling; and who may not."""

import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from server.bookings.models import Booking, Occupancy
from server.cryostats import instruments
from server.cryostats.guards import find
from server.db import now, reading, writing
from server.people.models import Person
from tests.factories import a_bench, give_grade, lid, token_of, wire
from tests.fixtures.browser import serving
from tests.fixtures.people import browser

BOOKINGS = "/api/v1/cryostats/bench-a/bookings"
SLOTS = "/api/v1/cryostats/bench-a/slots"
RACERS = 200


@pytest.fixture
def bench(app: FastAPI, steward: Person, member: Person) -> str:
    """Bench A, cold since this morning, and Ben who may operate it."""
    slug = a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"))
    give_grade(app.state.engine, slug, member, 1)
    with writing(app.state.engine) as session:
        at = now() - timedelta(hours=1)
        instruments.enter_state(session, steward, find(session, slug), "cold", at, "", now())
        session.commit()
    return slug


@pytest.fixture
def api(app: FastAPI, bench: str, member: Person) -> Callable[..., Any]:
    """A program that acts as Ben."""
    client, token = TestClient(app), token_of(app.state.engine, member)
    client.headers["Authorization"] = f"Bearer {token}"
    assert bench
    return client.request


def soon(days: float = 3) -> str:
    return (datetime.now(UTC).replace(minute=0, second=0, microsecond=0) + timedelta(days=days)).isoformat()


def body(**more: Any) -> dict[str, Any]:
    return {"cold_starts": soon(), "cold_hours": 10, "purpose": "A look"} | more


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_a_moment_that_no_calendar_has_in_utc_is_not_found(api: Callable[..., Any], at: str) -> None:
    for name in ("from", "to"):
        assert api("GET", BOOKINGS, params={name: at}).status_code == 404
    assert api("GET", SLOTS, params={"cold_hours": 1e-12}).status_code == 422


def test_a_slot_is_found_taken_listed_and_cancelled(api: Callable[..., Any]) -> None:
    found = api("GET", SLOTS, params={"cold_hours": 10}).json()["slots"]
    assert [row["kind"] for row in found[0]["phases"]][:1] == ["hand-over-in"]
    assert found == sorted(found, key=lambda row: row["cold_starts"])
    made = api("POST", BOOKINGS, json=body(cold_starts=found[0]["cold_starts"]))
    assert made.status_code == 201
    listed = api("GET", BOOKINGS).json()["bookings"]
    assert [row["id"] for row in listed] == [made.json()["id"]]
    assert listed[0]["purpose"] == "A look"
    gone = api("DELETE", f"/api/v1/bookings/{made.json()['id']}")
    assert (gone.status_code, gone.json()["state"]) == (200, "cancelled")
    assert gone.json()["uid"] == made.json()["uid"]
    assert gone.json()["sequence"] > made.json()["sequence"]
    assert api("GET", BOOKINGS).json()["bookings"] == []
    assert api("DELETE", f"/api/v1/bookings/{made.json()['id']}").status_code == 409


def test_the_second_is_told_the_next_free_slot_and_can_take_it(api: Callable[..., Any]) -> None:
    assert api("POST", BOOKINGS, json=body()).status_code == 201
    lost = api("POST", BOOKINGS, json=body())
    assert lost.status_code == 409
    following = lost.json()["next_free"]
    assert following["cold_starts"] != body()["cold_starts"]
    assert api("POST", BOOKINGS, json=body(cold_starts=following["cold_starts"])).status_code == 201


def test_time_between_neighbours_that_is_too_short_is_a_conflict_too(api: Callable[..., Any]) -> None:
    lost = api(
        "POST", BOOKINGS, json=body(cold_starts=(datetime.now(UTC) + timedelta(seconds=30)).isoformat())
    )
    assert lost.status_code == 409
    assert "working hours" in lost.json()["error"]
    assert lost.json()["next_free"] is not None


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"cold_hours": 0}, "cold_hours"),
        ({"cold_hours": "many"}, "cold_hours"),
        ({"cold_starts": "tomorrow"}, "cold_starts"),
        ({"cold_starts": "2026-03-14T10:00:00"}, "cold_starts"),
        ({"cold_starts": "0001-01-01T00:00:00+14:00"}, "cold_starts"),
        ({"cold_starts": "9999-12-31T23:59:59Z"}, "cold_starts"),
        ({"cold_starts": "2020-01-01T00:00:00Z"}, "cold_starts"),
        ({"purpose": "\x00"}, "purpose"),
        ({"purpose": ""}, "purpose"),
        ({"draft": 2**40}, "draft"),
        ({"group": 9}, "group"),
        ({"helper": 99}, "helper"),
        ({"colour": "red"}, "colour"),
        ({"wanted_K": -1}, "wanted_K"),
    ],
)
def test_a_bad_body_names_its_field_and_is_never_a_500(
    api: Callable[..., Any], more: dict[str, Any], field: str
) -> None:
    answer = api("POST", BOOKINGS, json=body(**more))
    assert answer.status_code == 422
    assert field in [row["field"] for row in answer.json()["fields"]]


def test_what_is_not_there_is_not_found(api: Callable[..., Any]) -> None:
    assert api("POST", BOOKINGS, json=body(draft=77)).status_code == 404
    assert api("GET", "/api/v1/cryostats/nowhere/bookings").status_code == 404
    assert api("DELETE", "/api/v1/bookings/99999999999999999999").status_code == 404
    assert api("GET", SLOTS, params={"cold_hours": "nan"}).status_code == 422
    assert api("GET", SLOTS, params={"cold_hours": 10, "draft": 5}).status_code == 404


def test_nobody_books_without_a_token_or_a_grade(app: FastAPI, api: Callable[..., Any], bench: str) -> None:
    assert browser(app).get(SLOTS, params={"cold_hours": 10}).status_code == 401
    assert browser(app).post(BOOKINGS, json=body()).status_code == 401
    give_grade(app.state.engine, bench, _ben(app), 0)
    assert api("POST", BOOKINGS, json=body()).status_code == 403


def _ben(app: FastAPI) -> Person:
    with reading(app.state.engine) as session:
        found = session.exec(select(Person).where(Person.login == "ben")).one()
        session.expunge(found)
        return found


def test_others_see_who_and_when_and_not_what_for(
    app: FastAPI, api: Callable[..., Any], steward: Person
) -> None:
    with writing(app.state.engine) as session:
        session.commit()
    token = token_of(app.state.engine, steward)
    made = TestClient(app).post(BOOKINGS, json=body(), headers={"Authorization": f"Bearer {token}"})
    assert made.status_code == 201
    seen = api("GET", BOOKINGS).json()["bookings"][0]
    assert (seen["owner"], seen["purpose"]) == ("Ada Steward", None)


def test_two_hundred_at_once_have_one_winner_and_the_others_are_told_what_is_free(
    app: FastAPI, bench: str, member: Person
) -> None:
    tokens = [token_of(app.state.engine, member) for _ in range(4)]
    starts, gate = soon(), threading.Barrier(RACERS)

    def race(number: int) -> httpx.Response:
        headers = {"Authorization": f"Bearer {tokens[number % 4]}"}
        gate.wait(60)
        return client.post(BOOKINGS, json=body(cold_starts=starts), headers=headers)

    every = httpx.Limits(max_connections=RACERS)
    with (
        serving(app) as address,
        httpx.Client(base_url=address, timeout=60, limits=every) as client,
        ThreadPoolExecutor(RACERS) as pool,
    ):
        answers = list(pool.map(race, range(RACERS)))
    assert Counter(row.status_code for row in answers) == {201: 1, 409: RACERS - 1}
    assert all(row.json()["next_free"] for row in answers if row.status_code == 409)
    assert app.state.next_free.looks < RACERS / 4
    with reading(app.state.engine) as session:
        assert len(session.exec(select(Booking)).all()) == 1
        assert len(session.exec(select(Occupancy)).all()) == 1
    assert bench
