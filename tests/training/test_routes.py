"""The pages of training, as people go through them."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.people.models import Person
from server.training import rules
from tests.factories import a_bench

HOME = "/cryostats/bench-a/training"


@pytest.fixture
def bench(app: FastAPI, steward: Person, member: Person) -> str:
    """The address of a bench; somebody else has an account as well."""
    assert member.id
    return a_bench(app.state.engine, steward)


@pytest.mark.usefixtures("bench")
def test_a_newcomer_is_brought_to_grade_two_through_the_pages(
    steward_client: TestClient, member_client: TestClient
) -> None:
    answer = steward_client.post(HOME, data={"login": "ben", "grade": "2", "mentor": "Ada"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{HOME}/1")
    agreed = {"day": "2099-01-02", "what": "watch an opening"}
    assert member_client.post(f"{HOME}/1/next", data=agreed).status_code == 303
    seen = {"evidence": "shown", "trainer": "Ada", "done_on": "2026-03-02"}
    for line in rules.plan(2):
        assert steward_client.post(f"{HOME}/1/entries", data={**seen, "line": line.key}).status_code == 303
    page = member_client.get(f"{HOME}/1").text
    assert "2 Jan 2099: watch an opening" in page
    assert "Sign grade" not in page
    assert steward_client.post(f"{HOME}/1/signature").status_code == 303
    assert "2 (open)" in member_client.get(f"{HOME}/1").text
    sent = {"login": "ben", "day": "2020-01-01"}
    assert "not longer ago" in steward_client.post(f"{HOME}/accompanied", data=sent).text
    assert member_client.get(HOME).status_code == 200


@pytest.mark.usefixtures("bench")
def test_what_is_wrong_is_said_and_the_wrong_person_refused(
    steward_client: TestClient, member_client: TestClient
) -> None:
    bad = steward_client.post(HOME, data={"login": "nobody", "grade": "9", "mentor": ""})
    assert bad.status_code == 422
    for words in ("Choose somebody", "Choose grade 1 to 4", "Enter who is their mentor"):
        assert words in bad.text
    assert member_client.post(HOME, data={"login": "ben", "grade": "2", "mentor": "A"}).status_code == 403
    assert steward_client.get(f"{HOME}/{10**30}").status_code in (404, 422)
    steward_client.post(HOME, data={"login": "ben", "grade": "2", "mentor": "Ada"})
    entry = steward_client.post(f"{HOME}/1/entries", data={"line": "room", "done_on": "soon"})
    assert entry.status_code == 422
    assert "Enter a day such as" in entry.text
    assert member_client.post(f"{HOME}/1/signature").status_code == 403
