"""Pages and API of maintenance, as a person and a program go through them."""

from datetime import datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image

from server.db import now
from server.people.models import Person
from tests.factories import a_bench, token_of

HOME = "/cryostats/bench-a/maintenance"
TASK = {"name": "Change the adsorber", "kind": "service", "limit_days": "365", "condition": "oil seen"}


@pytest.fixture
def bench(app: FastAPI, steward: Person) -> str:
    """The address of a bench."""
    return a_bench(app.state.engine, steward)


@pytest.mark.usefixtures("bench")
def test_a_task_is_laid_out_seen_done_and_put_off_through_the_pages(
    steward_client: TestClient, member_client: TestClient
) -> None:
    assert "Due after" in steward_client.get(f"{HOME}/new").text
    sent = {**TASK, "limit_compressor_hours": "20000", "cautions": ["S06"], "stops_work": "yes"}
    answer = steward_client.post(HOME, data=sent)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{HOME}/1")
    page = steward_client.get(f"{HOME}/1").text
    for words in ("Change the adsorber", "high-pressure helium", "Put off: Calendar", "every 365 days"):
        assert words in page
    assert "It was done" not in member_client.get(f"{HOME}/1").text
    assert steward_client.post(f"{HOME}/1/seen", data={"words": "Oil at a coupling"}).status_code == 303
    assert "due now" in member_client.get("/maintenance").text
    event = {
        "text": "Changed",
        "resets": ["compressor_hours", "condition"],
        "helium": "1.1",
        "serial_in": "B2",
    }
    assert steward_client.post(f"{HOME}/1/events", data=event).status_code == 303
    page = steward_client.get(f"{HOME}/1").text
    for words in (
        "helium added: 1.10 bar",
        "new part B2",
        "Clocks that begin anew: compressor, what was seen",
    ):
        assert words in page
    wish = {"trigger": "days", "times": "0", "limit": "2031-03-14 11:20", "reason": "The run ends first"}
    assert steward_client.post(f"{HOME}/1/deferrals", data=wish).status_code == 303
    assert "put off 1 times already" in steward_client.get(f"{HOME}/1").text
    assert "put off 1×" in member_client.get(HOME).text


WRONG: list[tuple[str, dict[str, str], str]] = [
    ("", {**TASK, "name": "", "limit_days": "never"}, "Enter what is to be done"),
    ("", {**TASK, "limit_days": "nan"}, "Enter a number above 0"),
    ("", {**TASK, "lead_days": "9" * 30}, "Enter a whole number"),
    ("", {**TASK, "parts": "no-such 3"}, "The stock room has no"),
    ("", {**TASK, "return_stage": "vessel", "return_K": "1e400"}, "Choose a stage"),
    ("/1/events", {"text": "", "hours": "-3"}, "Tick what was changed"),
    ("/1/events", {"text": "x", "resets": "days", "at": "soon"}, "Enter day and time"),
    ("/1/events", {"text": "x", "resets": "days", "used": "grease"}, "Enter a line for each"),
    ("/1/deferrals", {"trigger": "days", "limit": "", "reason": ""}, "Enter why it can wait"),
    ("/1/deferrals", {"trigger": "nothing"}, "Choose one of the triggers"),
    ("/1/holds", {"starts": ""}, "Enter when it begins"),
    ("/1/seen", {"words": ""}, "Enter what was seen"),
    ("/starter", {}, "Tick at least one"),
]


@pytest.mark.usefixtures("bench")
def test_what_is_wrong_stands_at_its_field(steward_client: TestClient) -> None:
    steward_client.post(HOME, data=TASK)
    for path, sent, words in WRONG:
        answer = steward_client.post(HOME + path, data=sent)
        assert answer.status_code == 422, path
        assert words in answer.text


@pytest.mark.usefixtures("bench")
def test_the_wrong_person_is_refused_and_an_absurd_address_is_not_found(
    steward_client: TestClient, member_client: TestClient
) -> None:
    steward_client.post(HOME, data=TASK)
    for path in ("", "/1/events", "/1/deferrals", "/1/retirement"):
        sent = {**TASK, "trigger": "days", "text": "x", "resets": "days"}
        assert member_client.post(HOME + path, data=sent).status_code == 403
    assert member_client.get(f"{HOME}/new").status_code == 403
    assert steward_client.get(f"{HOME}/{10**30}").status_code in (404, 422)
    assert steward_client.post(f"{HOME}/1/retirement").status_code == 303
    assert "Change the adsorber" not in steward_client.get("/maintenance").text


@pytest.mark.usefixtures("bench")
def test_a_photograph_of_a_label_is_kept_with_the_task(steward_client: TestClient) -> None:
    steward_client.post(HOME, data=TASK)
    made = BytesIO()
    Image.new("RGB", (8, 6), "white").save(made, "PNG")
    sent = {"files": ("label.png", made.getvalue(), "image/png")}
    kept = steward_client.post(f"{HOME}/1/photographs", data={"caption": "The label"}, files=sent)
    assert kept.status_code == 303
    assert 'alt="The label"' in steward_client.get(f"{HOME}/1").text
    bad = {"files": ("label.png", b"no picture", "image/png")}
    assert steward_client.post(f"{HOME}/1/photographs", data={"caption": "x"}, files=bad).status_code == 422


@pytest.mark.usefixtures("bench")
def test_a_program_reads_what_is_due_and_writes_an_event(
    app: FastAPI, client: TestClient, steward_client: TestClient, steward: Person, member: Person
) -> None:
    steward_client.post(HOME, data=TASK)
    head = {"Authorization": f"Bearer {token_of(app.state.engine, steward)}"}
    found = client.get("/api/v1/cryostats/bench-a/tasks", headers=head).json()["tasks"][0]
    assert (found["name"], found["state"], found["put_off"]) == ("Change the adsorber", "later", {})
    event = {"text": "Changed", "resets": ["days"], "helium_Pa": 1.1e5}
    path = "/api/v1/cryostats/bench-a/tasks/1/events"
    assert client.post(path, headers=head, json=event).status_code == 201
    bad = client.post(path, headers=head, json={"text": "", "resets": []})
    assert bad.status_code == 422
    assert {row["field"] for row in bad.json()["fields"]} == {"text", "resets"}
    other = {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}
    assert client.post(path, headers=other, json=event).status_code == 403


@pytest.mark.usefixtures("bench")
def test_the_slots_somebody_looks_at_tell_what_falls_due_meanwhile(steward_client: TestClient) -> None:
    steward_client.post(HOME, data=TASK)
    path = "/cryostats/bench-a/maintenance/falling-due"
    ahead = now() + timedelta(days=4000)
    stretch = {"from": now().isoformat(), "until": ahead.isoformat()}
    page = steward_client.get(path, params=stretch)
    assert "Change the adsorber" in page.text
    assert "<nav" in page.text
    part = steward_client.get(path, params=stretch, headers={"HX-Request": "true"})
    assert "Change the adsorber" in part.text
    assert "<nav" not in part.text
    later = {"from": ahead.isoformat(), "until": (ahead + timedelta(days=1)).isoformat()}
    assert "No maintenance" in steward_client.get(path, params=later).text
    assert steward_client.get(path, params={"from": "soon", "until": "later"}).status_code in (404, 422)


@pytest.mark.usefixtures("bench")
def test_a_program_asks_what_falls_due_inside_a_stretch(
    app: FastAPI, client: TestClient, steward_client: TestClient, steward: Person
) -> None:
    steward_client.post(HOME, data=TASK)
    head = {"Authorization": f"Bearer {token_of(app.state.engine, steward)}"}
    [row] = client.get("/api/v1/cryostats/bench-a/tasks", headers=head).json()["tasks"]
    earliest, latest = datetime.fromisoformat(row["earliest"]), datetime.fromisoformat(row["latest"])

    def asked(starts: datetime, ends: datetime) -> Any:
        stretch = {"from": starts.isoformat(), "until": ends.isoformat()}
        path = "/api/v1/cryostats/bench-a/tasks/falling-due"
        return client.get(path, params=stretch, headers=head)

    day = timedelta(days=1)
    inside = asked(earliest - day, latest + day).json()["tasks"]
    assert [task["name"] for task in inside] == ["Change the adsorber"]
    assert asked(earliest - 9 * day, earliest - 2 * day).json()["tasks"] == []
    turned = asked(latest, earliest - day)
    assert (turned.status_code, turned.json()["fields"][0]["field"]) == (422, "until")
