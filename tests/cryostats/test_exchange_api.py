"""A configuration out and in by the API."""

from collections.abc import Mapping
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.cryostats import drafts
from server.db import writing
from server.people.models import Person
from tests.factories import AT, a_bench, change, give_grade, lid, token_of, wire


@pytest.fixture
def slug(app: FastAPI, steward: Person) -> str:
    """A cryostat with a cooler, a loom and a lid."""
    return a_bench(app.state.engine, steward, wire(), lid(), cooler=True)


def headers(app: FastAPI, person: Person) -> dict[str, str]:
    return {"Authorization": f"Bearer {token_of(app.state.engine, person)}"}


def send(
    client: TestClient, slug: str, document: Mapping[str, Any], bearer: Mapping[str, str], **more: Any
) -> Any:
    body = {"reason": "From another book", "base_revision": 1, "document": document} | more
    return client.post(f"/api/v1/cryostats/{slug}/document", json=body, headers=dict(bearer))


def test_a_document_goes_out_and_its_alteration_comes_in_as_one_change(
    app: FastAPI, client: TestClient, steward: Person, slug: str
) -> None:
    bearer = headers(app, steward)
    value = client.get(f"/api/v1/cryostats/{slug}/document", headers=bearer).json()
    assert value == client.get(f"/api/v1/cryostats/{slug}/document?revision=1", headers=bearer).json()
    value["elements"][0]["count"] = 12
    del value["elements"][1]
    answer = send(client, slug, value, bearer, take_others=True)
    assert answer.status_code == 201
    assert answer.json()["revision"]["number"] == 2
    assert "temperatures" in answer.json()["heat"]["budget"]
    again = client.get(f"/api/v1/cryostats/{slug}/document", headers=bearer).json()
    lid_row, loom = again["elements"]
    assert (lid_row["key"], [loom]) == ("lid", value["elements"]), "a lid that is not named is not taken out"
    again["elements"] = [lid_row]
    assert send(client, slug, again, bearer, take_others=True, base_revision=2).status_code == 201
    last = client.get(f"/api/v1/cryostats/{slug}/document", headers=bearer).json()
    assert last["elements"] == [lid_row]


def test_a_stale_base_is_answered_with_what_was_logged_meanwhile(
    app: FastAPI, client: TestClient, steward: Person, slug: str
) -> None:
    bearer = headers(app, steward)
    value = {"cryostat": {}, "elements": [wire(count=12)]}
    assert send(client, slug, value, bearer).status_code == 201
    value = {"cryostat": {}, "elements": [wire(count=6)]}
    answer = send(client, slug, value, bearer)
    assert answer.status_code == 409
    assert answer.json()["since"][0]["revision"]["number"] == 2


@pytest.mark.parametrize(
    ("elements", "field"),
    [
        ([wire(count=-1)], "elements[0].count"),
        ([wire(note="\x00")], "elements[0].note"),
        ([lid(), wire(), wire()], "elements[2].key"),
        ("none", "line 0"),
    ],
)
def test_a_bad_document_is_refused_with_its_path_and_changes_nothing(
    app: FastAPI, client: TestClient, steward: Person, slug: str, elements: Any, field: str
) -> None:
    bearer = headers(app, steward)
    before = client.get(f"/api/v1/cryostats/{slug}/configuration", headers=bearer).json()
    answer = send(client, slug, {"cryostat": {}, "elements": elements}, bearer)
    assert answer.status_code == 422
    assert [row["field"] for row in answer.json()["fields"]] == [field]
    assert client.get(f"/api/v1/cryostats/{slug}/configuration", headers=bearer).json() == before


def test_what_does_not_differ_is_no_change(
    app: FastAPI, client: TestClient, steward: Person, slug: str
) -> None:
    answer = send(client, slug, {"cryostat": {}, "elements": [wire()]}, headers(app, steward))
    assert answer.status_code == 422
    assert answer.json()["fields"][0]["field"] == "file"


def test_who_may_not_open_or_has_no_token_is_refused(
    app: FastAPI, client: TestClient, member: Person, slug: str
) -> None:
    value = {"cryostat": {}, "elements": [wire(count=12)]}
    assert send(client, slug, value, {}).status_code == 401
    assert client.get(f"/api/v1/cryostats/{slug}/document").status_code == 401
    bearer = headers(app, member)
    assert send(client, slug, value, bearer).status_code == 403
    assert send(client, slug, {"cryostat": {}, "elements": "bad"}, bearer).status_code == 403
    give_grade(app.state.engine, slug, member, 2)
    assert send(client, slug, value, bearer).status_code == 403
    give_grade(app.state.engine, slug, member, 3)
    assert send(client, slug, value, bearer).status_code == 201


def test_what_is_not_there_is_not_found(app: FastAPI, client: TestClient, steward: Person, slug: str) -> None:
    bearer = headers(app, steward)
    assert client.get(f"/api/v1/cryostats/{slug}/document?revision=9", headers=bearer).status_code == 404
    assert client.get("/api/v1/cryostats/nowhere/document", headers=bearer).status_code == 404


def test_a_draft_goes_out_as_a_document(app: FastAPI, client: TestClient, steward: Person, slug: str) -> None:
    with writing(app.state.engine) as session:
        sheet = drafts.make(session, steward, slug, drafts.Drawn("Fewer", change(1, wire(count=12))), AT)
        session.commit()
        number = sheet.draft.id
    bearer = headers(app, steward)
    value = client.get(f"/api/v1/drafts/{number}/document", headers=bearer).json()
    assert [row.get("count") for row in value["elements"]] == [12, None]
    assert client.get(f"/api/v1/drafts/{number}/document").status_code == 401
    assert client.get("/api/v1/drafts/99/document", headers=bearer).status_code == 404


def test_a_document_comes_in_as_a_draft_and_goes_out_the_same(
    app: FastAPI, client: TestClient, steward: Person, slug: str
) -> None:
    bearer = headers(app, steward)
    value = client.get(f"/api/v1/cryostats/{slug}/document", headers=bearer).json()
    value["elements"][0]["count"] = 12
    body = {"name": "Fewer", "reason": "Half are dead", "base_revision": 1, "document": value}
    made = client.post(f"/api/v1/cryostats/{slug}/document/drafts", json=body, headers=bearer)
    assert (made.status_code, made.json()["state"]) == (201, "drawing")
    again = client.get(f"/api/v1/drafts/{made.json()['id']}/document", headers=bearer).json()
    assert again["elements"] == value["elements"]
    configuration = client.get(f"/api/v1/cryostats/{slug}/configuration", headers=bearer).json()
    assert configuration["revision"] == 1


def test_a_bad_document_draws_no_draft(app: FastAPI, client: TestClient, steward: Person, slug: str) -> None:
    bearer = headers(app, steward)
    value = client.get(f"/api/v1/cryostats/{slug}/document", headers=bearer).json()
    address = f"/api/v1/cryostats/{slug}/document/drafts"
    body = {"name": "Fewer", "reason": "Half are dead", "base_revision": 1, "document": value}
    assert client.post(address, json=body, headers=bearer).status_code == 422, "nothing differs"
    value["elements"][0]["count"] = -1
    assert client.post(address, json=body | {"base_revision": 0}, headers=bearer).status_code == 409
    answer = client.post(address, json=body, headers=bearer)
    assert answer.status_code == 422
    assert any("count" in row["field"] for row in answer.json()["fields"])
    assert client.post(address, json=body).status_code == 401
    assert client.get(f"/api/v1/cryostats/{slug}/drafts", headers=bearer).json()["drafts"] == []
