"""The pages of channels."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.people.models import Person
from tests.factories import a_bench, give_grade

NEW = {
    "name": "Platform",
    "quantity": "temperature",
    "unit": "K",
    "stage": "platform",
    "silent_after": "10 min",
}


@pytest.fixture
def home(app: FastAPI, steward: Person, member: Person) -> str:
    """The channels of a cryostat that Ben may rewire."""
    slug = a_bench(app.state.engine, steward)
    give_grade(app.state.engine, slug, member, 3)
    return f"/cryostats/{slug}/channels"


def test_a_channel_is_made_altered_and_ended(member_client: TestClient, home: str) -> None:
    assert "No channel yet" in member_client.get(home).text
    assert member_client.post(home, data=NEW).status_code == 303
    page = member_client.get(home).text
    assert "10 min" in page
    form = member_client.get(f"{home}/1").text
    assert 'value="Platform"' in form
    assert '<option value="K" selected>' in form
    assert member_client.post(f"{home}/1", data=NEW | {"silent_after": "2 h"}).status_code == 303
    assert "2 h" in member_client.get(home).text
    assert member_client.post(f"{home}/1/end").status_code == 303
    assert "Expect it again" in member_client.get(home).text
    assert "Channel Platform ended" in member_client.get(home.replace("channels", "history")).text


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"name": ""}, "name"),
        ({"quantity": "colour"}, "quantity"),
        ({"unit": "mbar"}, "unit"),
        ({"stage": "attic"}, "stage"),
        ({"silent_after": "soon"}, "silent_after"),
        ({"silent_after": "?"}, "silent_after"),
        ({"silent_after": "1 s"}, "silent_after"),
        ({"part": "x" * 61}, "part"),
    ],
)
def test_what_is_to_be_mended_is_said_at_its_field_and_what_was_typed_stays(
    member_client: TestClient, home: str, more: dict[str, str], field: str
) -> None:
    answer = member_client.post(home, data=NEW | {"part": "TH-1"} | more)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    if field != "part":
        assert 'value="TH-1"' in answer.text


def test_who_may_not(app: FastAPI, member_client: TestClient, steward: Person, member: Person) -> None:
    slug = a_bench(app.state.engine, steward)
    give_grade(app.state.engine, slug, member, 2)
    home = f"/cryostats/{slug}/channels"
    assert "A new channel" not in member_client.get(home).text
    assert member_client.post(home, data=NEW).status_code == 403
    assert member_client.post(f"{home}/1/end").status_code == 403
    assert member_client.get(f"{home}/{'9' * 30}").status_code == 404
