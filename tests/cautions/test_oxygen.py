"""The oxygen arithmetic as the safety officer meets it; numbers are tried in tests/physics/thermal."""

import re

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy.exc import DBAPIError

from server.people.models import Person

ROOM = {
    "room": "Cellar",
    "gas": "Nitrogen",
    "volume_m3": "30",
    "release_m3": "10 m3",
    "rate_m3_s": "10 L/min",
    "duration_s": "14 h",
    "air_changes_per_h": "1",
    "note": "Measured with a tape",
}


def test_a_room_is_reckoned_kept_and_shown_with_date_and_name(steward_client: TestClient) -> None:
    """13.9, 20.5 and 15.8 %: from 20.9 % in air, by hand."""
    assert steward_client.post("/oxygen", data=ROOM).headers["location"] == "/oxygen"
    page = steward_client.get("/oxygen").text
    for words in ("Cellar", "13.9 %", "20.5 %", "15.8 %", "Ada Steward", "no permission"):
        assert words in page, words


def test_it_is_the_stewards_alone(member_client: TestClient, client: TestClient) -> None:
    assert member_client.get("/oxygen").status_code == 403
    assert member_client.post("/oxygen", data=ROOM).status_code == 403
    assert client.post("/oxygen", data=ROOM).status_code in (303, 401)


@pytest.mark.parametrize("text", ["", "?", "-1", "1–2", "1e400"])
def test_what_is_no_number_stands_at_its_field(steward_client: TestClient, text: str) -> None:
    names = ("volume_m3", "release_m3", "rate_m3_s", "duration_s", "air_changes_per_h")
    answer = steward_client.post("/oxygen", data={**ROOM, **dict.fromkeys(names, text)})
    assert answer.status_code == 422
    assert [name for name in names if f'id="f-{name}-error"' not in answer.text] == []
    assert "Measured with a tape" in answer.text


def test_a_card_is_never_rewritten(steward_client: TestClient, app: FastAPI) -> None:
    steward_client.post("/oxygen", data=ROOM)
    for statement in ("UPDATE oxygen_card SET slow_share = 0.21", "DELETE FROM oxygen_card"):
        with app.state.engine.connect() as connection, pytest.raises(DBAPIError, match="append-only"):
            connection.execute(sa.text(statement))


def test_no_number_makes_the_page_say_that_something_may_be_done(steward_client: TestClient) -> None:
    steward_client.post("/oxygen", data={**ROOM, "release_m3": "0", "rate_m3_s": "0"})
    page = steward_client.get("/oxygen").text.lower()
    assert "no permission" in page
    assert re.search(r"\bsafe\b", page) is None


def test_once_somebody_answers_for_safety_nobody_else_reckons(
    steward_client: TestClient, member_client: TestClient, member: Person
) -> None:
    mark = f"/people/{member.id}/safety"
    assert member_client.post(mark, data={"safety": "yes"}).status_code == 403
    assert steward_client.post(mark, data={"safety": "yes"}).status_code == 303
    assert "Answers for safety" in steward_client.get(f"/people/{member.id}").text
    assert member_client.post("/oxygen", data=ROOM).status_code == 303
    assert steward_client.get("/oxygen").status_code == 403
    assert steward_client.post("/oxygen", data=ROOM).status_code == 403
    assert member_client.get("/people").status_code == 403
    steward_client.post(mark, data={"safety": "no"})
    assert member_client.get("/oxygen").status_code == 403
    assert steward_client.get("/oxygen").status_code == 200
