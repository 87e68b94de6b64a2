"""Readings by the API: in batches, as often as they are sent, and back in SI."""

from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.cryostats import guards
from server.db import writing
from server.people.models import Person
from tests.cooldowns.bench import NOON, PLATFORM, VACUUM, S, a_channel
from tests.factories import a_bench, give_grade, token_of

SPAN = {"from": "2026-03-14T00:00:00Z", "to": "2026-03-15T00:00:00Z"}


@pytest.fixture
def at(app: FastAPI, steward: Person, member: Person) -> str:
    """The address of a cryostat with two channels that Ben may operate."""
    slug = a_bench(app.state.engine, steward)
    with writing(app.state.engine) as session:
        cryostat = guards.find(session, slug)
        for wanted in (PLATFORM, VACUUM):
            a_channel(session, steward, cryostat, wanted)
        session.commit()
    give_grade(app.state.engine, slug, member, 1)
    return f"/api/v1/cryostats/{slug}"


@pytest.fixture
def program(app: FastAPI, client: TestClient, member: Person) -> TestClient:
    """A program with Ben's token."""
    client.headers["Authorization"] = f"Bearer {token_of(app.state.engine, member)}"
    return client


def one(values: list[Any], channel: str = "Platform", **more: Any) -> dict[str, Any]:
    return {"channel": channel, "times": [S + 60 * n for n in range(len(values))], "values": values, **more}


def test_a_batch_is_stored_once_and_comes_back(program: TestClient, at: str) -> None:
    sent = {"series": [one([3.2, None, 3.4]), one([1.2e-4], "vacuum")]}
    assert program.post(f"{at}/readings", json=sent).json() == {"new": 3, "already_there": 0, "gaps": 1}
    assert program.post(f"{at}/readings", json=sent).json() == {"new": 0, "already_there": 3, "gaps": 1}
    back = program.get(f"{at}/readings", params={"channel": "platform", **SPAN}).json()
    assert (back["unit"], back["times_s"], back["low"]) == ("K", [S, S + 120], [3.2, 3.4])
    vacuum = program.get(f"{at}/readings", params={"channel": "Vacuum", **SPAN}).json()
    assert (vacuum["unit"], vacuum["low"]) == ("Pa", [pytest.approx(1.2e-4)])


def test_a_moment_with_its_zone_and_a_unit_are_as_good(program: TestClient, at: str) -> None:
    series = {"channel": "Platform", "times": ["2026-03-14T13:00:00+01:00"], "values": [3200], "unit": "mK"}
    program.post(f"{at}/readings", json={"series": [series]})
    back = program.get(f"{at}/readings", params={"channel": "Platform", **SPAN}).json()
    assert (back["times_s"], back["low"]) == ([S], [3.2])


def test_points_thin_a_stretch(program: TestClient, at: str) -> None:
    values = [3.2] * 600
    values[300] = 9.9
    program.post(f"{at}/readings", json={"series": [one(values)]})
    back = program.get(f"{at}/readings", params={"channel": "Platform", "points": 20, **SPAN}).json()
    assert (back["count"], back["thinned"], max(back["high"])) == (600, True, 9.9)
    assert len(back["times_s"]) <= 40


@pytest.mark.parametrize(
    ("series", "field"),
    [
        ([one([3.2], "Ghost")], "series.0"),
        ([one([3.2]), one([3.3])], "series.1"),
        ([one([3.2], unit="mbar")], "series.0"),
        ([one([3.2], unit="no unit")], "series.0"),
        ([{"channel": "Platform", "times": [S], "values": [1.0, 2.0]}], "series.0"),
        ([one([1.0] * 6000), one([1.0] * 6000, "Vacuum")], "series"),
        ([{"channel": "Platform", "times": [S, S], "values": [1.0, 2.0]}], "Platform"),
        ([{"channel": "Platform", "times": [1e300], "values": [1.0]}], "Platform"),
        ([{"channel": "Platform", "times": [S + 1e9], "values": [1.0]}], "Platform"),
        ([one([1.0] * 10_001)], "series.0.times"),
        ([one([1.0], more=1)], "series.0.more"),
        ([], "series"),
    ],
)
def test_what_cannot_be_is_refused_whole(
    program: TestClient, at: str, series: list[dict[str, Any]], field: str
) -> None:
    answer = program.post(f"{at}/readings", json={"series": [*series]})
    assert answer.status_code == 422
    assert field in {row["field"] for row in answer.json()["fields"]}
    back = program.get(f"{at}/readings", params={"channel": "Platform", **SPAN}).json()
    assert back["count"] == 0


def test_another_value_is_refused_by_its_channel(program: TestClient, at: str) -> None:
    program.post(f"{at}/readings", json={"series": [one([3.2])]})
    answer = program.post(f"{at}/readings", json={"series": [one([3.3])]})
    assert answer.status_code == 422
    assert "3.2 stands, 3.3 was sent" in answer.json()["fields"][0]["message"]


def test_channels_tell_what_is_known_now_and_that_they_are_silent(program: TestClient, at: str) -> None:
    program.post(f"{at}/readings", json={"series": [one([3.2])]})
    rows = {row["name"]: row for row in program.get(f"{at}/channels").json()["channels"]}
    assert rows["Platform"]["value"] is None
    assert rows["Platform"]["silent"] is True
    assert rows["Platform"]["last_at"] == NOON.isoformat().replace("+00:00", "Z")
    assert rows["Vacuum"]["silent"] is False


def test_who_may_not(app: FastAPI, client: TestClient, steward: Person, at: str) -> None:
    from tests.fixtures.people import make_person

    sent = {"series": [one([3.2])]}
    assert client.post(f"{at}/readings", json=sent).status_code == 401
    guest = make_person(app.state.engine, "cleo", "Cleo Guest")
    client.headers["Authorization"] = f"Bearer {token_of(app.state.engine, guest)}"
    assert client.post(f"{at}/readings", json=sent).status_code == 403
    assert client.get(f"{at}/channels").status_code == 200
    assert client.get("/api/v1/cryostats/nowhere/channels").status_code == 404
    assert steward.steward


@pytest.mark.parametrize(
    "params",
    [{"channel": "Ghost", **SPAN}, {"channel": "Platform"}, {"channel": "Platform", **SPAN, "points": "1"}],
)
def test_what_is_asked_wrongly_is_said(program: TestClient, at: str, params: dict[str, str]) -> None:
    assert program.get(f"{at}/readings", params=params).status_code == 422
