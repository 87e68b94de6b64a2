"""Pages and API of the faults, as a person and a program go through them."""

from io import BytesIO

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image

from server.people.models import Person
from tests.factories import a_bench, lid, token_of, wire

SEEN = {"what_seen": "Frost on the can", "severity": "disturbs", "cryostat": "bench-a", "element": "loom"}


@pytest.fixture
def bench(app: FastAPI, steward: Person) -> str:
    """The address of a bench with a loom and a lid."""
    return a_bench(app.state.engine, steward, wire(), lid())


@pytest.fixture
def api(app: FastAPI, member: Person) -> dict[str, str]:
    """The header of a program of somebody who watches only."""
    return {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}


@pytest.mark.usefixtures("bench")
def test_a_fault_goes_from_report_to_mended_through_the_pages(
    member_client: TestClient, steward_client: TestClient
) -> None:
    assert "None in particular" in member_client.get("/faults/new?cryostat=bench-a").text
    answer = member_client.post("/faults", data=SEEN)
    assert (answer.status_code, answer.headers["location"]) == (303, "/faults/1")
    assert "Frost on the can" in member_client.get("/cryostats/bench-a/faults").text
    part = member_client.get("/cryostats/bench-a/faults/part", headers={"HX-Request": "true"}).text
    assert "Frost on the can" in part
    assert "<html" not in part
    step = {"text": "Ring wiped", "state": "mended", "cause": "ring-dirty", "owner": "ada"}
    assert steward_client.post("/faults/1/entries", data=step).status_code == 303
    page = steward_client.get("/faults/1").text
    for words in ("mended", "Ring wiped", "Ada Steward", "Ring dry, dirty"):
        assert words in page
    assert "Frost on the can" not in member_client.get("/faults").text
    assert "Frost on the can" in member_client.get("/faults?show=all").text


@pytest.mark.usefixtures("bench")
def test_what_is_wrong_stands_at_its_field_with_what_was_typed(member_client: TestClient) -> None:
    answer = member_client.post("/faults", data={**SEEN, "what_seen": "", "seen_at": "yesterday"})
    assert answer.status_code == 422
    assert "Enter what was seen" in answer.text
    assert "Enter day and time" in answer.text
    member_client.post("/faults", data=SEEN)
    moved = member_client.post("/faults/1/entries", data={"text": "", "state": ""})
    assert moved.status_code == 422
    assert "Enter what there is to say" in moved.text


@pytest.mark.usefixtures("bench")
def test_a_person_who_watches_adds_a_note_but_does_not_move_it(
    member_client: TestClient, steward_client: TestClient
) -> None:
    steward_client.post("/faults", data=SEEN)
    assert 'name="state"' not in member_client.get("/faults/1").text
    assert member_client.post("/faults/1/entries", data={"text": "Ticks"}).status_code == 303
    refused = member_client.post("/faults/1/entries", data={"text": "x", "state": "mended"})
    assert refused.status_code == 403


@pytest.mark.usefixtures("bench")
def test_a_photograph_is_kept_with_the_fault_and_anything_else_is_not(member_client: TestClient) -> None:
    member_client.post("/faults", data=SEEN)
    made = BytesIO()
    Image.new("RGB", (8, 6), "white").save(made, "PNG")
    sent = {"files": ("frost.png", made.getvalue(), "image/png")}
    kept = member_client.post("/faults/1/photographs", data={"caption": "The frost"}, files=sent)
    assert kept.status_code == 303
    assert 'alt="The frost"' in member_client.get("/faults/1").text
    bad = {"files": ("frost.png", b"<script>", "image/png")}
    refused = member_client.post("/faults/1/photographs", data={"caption": "x"}, files=bad)
    assert refused.status_code == 422
    assert "no picture that can be read" in refused.text


@pytest.mark.parametrize("path", ["/faults/7", "/faults/99999999999999999999", "/cryostats/none/faults"])
def test_what_is_not_there_is_404(member_client: TestClient, path: str) -> None:
    assert member_client.get(path).status_code == 404


@pytest.mark.usefixtures("bench")
def test_a_program_reports_reads_and_adds(client: TestClient, api: dict[str, str]) -> None:
    body = {"what_seen": "Tick", "severity": "near-miss", "cryostat": "bench-a"}
    made = client.post("/api/v1/faults", json=body, headers=api)
    assert made.status_code == 201
    assert made.json()["entries"][0]["state"] == "open"
    step = {"state": "cause-found", "cause": "water"}
    assert client.post("/api/v1/faults/1/entries", json=step, headers=api).status_code == 201
    found = client.get("/api/v1/faults?cryostat=bench-a&open=true", headers=api).json()
    assert [(row["cause"], row["cryostat"]) for row in found["faults"]] == [("water", "bench-a")]
    assert "ring-dirty" in client.get("/api/v1/faults/causes", headers=api).json()
    assert client.get("/api/v1/faults/1", headers=api).json()["reported_by"] == "Ben Member"


@pytest.mark.usefixtures("bench")
def test_a_program_that_sends_nonsense_is_told_which_field(client: TestClient, api: dict[str, str]) -> None:
    bad = client.post("/api/v1/faults", json={"what_seen": "\x00", "severity": "x"}, headers=api)
    assert bad.status_code == 422
    assert {row["field"] for row in bad.json()["fields"]} == {"what_seen", "severity"}
    strange = client.post("/api/v1/faults", json={"what_seen": "x", "who": "y"}, headers=api)
    assert strange.status_code == 422
    assert client.get("/api/v1/faults").status_code == 401


@pytest.mark.usefixtures("bench")
def test_the_list_asks_the_database_as_often_for_forty_as_for_one(
    app: FastAPI, member_client: TestClient
) -> None:
    counted: list[str] = []
    sa.event.listen(app.state.engine, "before_cursor_execute", lambda *sent: counted.append(sent[2]))

    def queries(path: str) -> int:
        counted.clear()
        assert member_client.get(path).status_code == 200
        return len(counted)

    member_client.post("/faults", data=SEEN)
    before = [queries("/faults"), queries("/faults/1")]
    for _ in range(39):
        member_client.post("/faults", data=SEEN)
        member_client.post("/faults/1/entries", data={"text": "again"})
    assert [queries("/faults"), queries("/faults/1")] == before
