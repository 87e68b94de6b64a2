"""The page of the laboratory."""

from datetime import time

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.db import reading
from server.errors import SignInNeeded
from server.laboratory.models import Laboratory
from server.laboratory.routes import router

GOOD = {
    "name": "Cold floor",
    "zone": "Europe/Oslo",
    "working_days": ["0", "1", "5"],
    "opens": "7:30",
    "closes": "18",
}
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def kept(app: FastAPI) -> Laboratory:
    with reading(app.state.engine) as session:
        return session.get_one(Laboratory, 1)


def test_everybody_signed_in_sees_the_settings(member_client: TestClient) -> None:
    page = member_client.get("/laboratory").text
    assert "Invented laboratory" in page
    assert "Monday, Tuesday, Wednesday, Thursday, Friday" in page
    assert "08:00 to 19:00" in page
    assert "<form" not in page.split("<main")[1]


def test_a_steward_alters_them(app: FastAPI, steward_client: TestClient) -> None:
    assert steward_client.post("/laboratory", data=GOOD).status_code == 303
    now = kept(app)
    assert (now.name, now.zone, now.working_days) == ("Cold floor", "Europe/Oslo", "015")
    assert (now.opens, now.closes) == (time(7, 30), time(18))
    assert "Settings altered" in steward_client.get("/laboratory").text


def test_nobody_else_does(app: FastAPI, member_client: TestClient) -> None:
    assert member_client.post("/laboratory", data=GOOD).status_code == 403
    assert kept(app).name == "Invented laboratory"


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"zone": "Europe/Nowhere"}, "zone"),
        ({"zone": "../../etc/passwd"}, "zone"),
        ({"working_days": []}, "working_days"),
        ({"working_days": ["9"]}, "working_days"),
        ({"opens": "early"}, "opens"),
        ({"closes": "25:00"}, "closes"),
        ({"opens": "18:00", "closes": "8:00"}, "closes"),
    ],
)
def test_what_is_to_mend_stands_at_its_field(
    app: FastAPI, steward_client: TestClient, typed: dict[str, str], field: str
) -> None:
    answer = steward_client.post("/laboratory", data=GOOD | typed)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    assert kept(app).name == "Invented laboratory"


def test_every_fault_is_told_at_once_and_nothing_typed_is_lost(steward_client: TestClient) -> None:
    answer = steward_client.post("/laboratory", data={"name": "", "zone": "Mars", "opens": "early"})
    for field in ("name", "zone", "working_days", "opens", "closes"):
        assert f'id="f-{field}-error"' in answer.text
    assert 'value="Mars"' in answer.text
    assert 'value="early"' in answer.text


@pytest.mark.usefixtures("database_url")
def test_without_the_guard_before_it_nobody_gets_in() -> None:
    """The guard stands in the application; a router mounted without it must not be open."""
    bare = FastAPI()
    bare.include_router(router)
    client = TestClient(bare)
    with pytest.raises(SignInNeeded):
        client.get("/laboratory")
    with pytest.raises(SignInNeeded):
        client.post("/laboratory", data=GOOD)
