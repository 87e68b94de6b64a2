"""Parts by a program with a token: entered, told of, lent, brought back, asked where they were."""

from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.cryostats import guards, service
from server.db import writing
from server.people.models import Person
from tests.factories import AT, a_bench, change, give_grade, lid, token_of, wire

HERE = "/api/v1/parts"
LOOM: dict[str, Any] = {
    "tag": "loom-03",
    "kind": "loom",
    "name": "Twelve pairs",
    "about": {"alloy": "phosphor bronze"},
    "place": "Drawer 2",
}
Heads = dict[str, str]


@pytest.fixture
def ben(app: FastAPI, steward: Person, member: Person) -> Heads:
    """What Ben's program sends along; he may rewire Bench A, where there is a lid."""
    slug = a_bench(app.state.engine, steward, lid())
    give_grade(app.state.engine, slug, member, 3)
    return {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}


def fields(answer: Any) -> set[str]:
    assert answer.status_code == 422, answer.text
    return {row["field"] for row in answer.json()["fields"]}


def test_a_part_is_entered_listed_described_and_told_of(client: TestClient, ben: Heads) -> None:
    made = client.post(HERE, json=LOOM, headers=ben)
    assert (made.status_code, made.json()["state"], made.json()["inside"]) == (201, "shelf", None)
    assert client.get(HERE, headers=ben).json()["parts"] == [made.json()]
    assert client.get(f"{HERE}?kind=ring", headers=ben).json()["parts"] == []
    told = client.post(f"{HERE}/loom-03/entries", json={"test": "leak", "result": "tight"}, headers=ben)
    assert (told.status_code, told.json()["what"], told.json()["place"]) == (201, "tested", "Drawer 2")
    anew = client.put(f"{HERE}/loom-03", json={"name": "Twelve good pairs"}, headers=ben)
    assert (anew.json()["name"], anew.json()["about"]) == ("Twelve good pairs", {})
    found = client.get(f"{HERE}/loom-03", headers=ben).json()
    assert [row["what"] for row in found["entries"]] == ["described", "tested", "entered"]


def test_where_it_has_been_and_that_it_is_in_use_follow_from_the_revisions(
    app: FastAPI, client: TestClient, ben: Heads, steward: Person
) -> None:
    client.post(HERE, json=LOOM, headers=ben)
    with writing(app.state.engine) as session:
        service.log_change(session, steward, "bench-a", change(1, wire(part="loom-03")), AT)
        assert guards.find(session, "bench-a").revision == 2
        session.commit()
    found = client.get(f"{HERE}/loom-03", headers=ben).json()
    assert (found["state"], found["inside"]) == ("in-use", "bench-a")
    (stay,) = found["stays"]
    assert (stay["cryostat"], stay["element"], stay["from_revision"], stay["to_revision"]) == (
        "bench-a",
        "loom",
        2,
        None,
    )
    assert [row["tag"] for row in client.get(f"{HERE}?state=in-use", headers=ben).json()["parts"]] == [
        "loom-03"
    ]
    assert client.get(f"{HERE}?state=shelf", headers=ben).json()["parts"] == []


def test_a_loan_goes_out_with_its_day_and_comes_back(client: TestClient, ben: Heads) -> None:
    client.post(HERE, json=LOOM, headers=ben)
    sent = {"to_whom": "Sabe", "due_on": "2199-01-01", "to_cryostat": "bench-a"}
    lent = client.post(f"{HERE}/loom-03/loans", json=sent, headers=ben)
    assert (lent.status_code, lent.json()["to_cryostat"], lent.json()["back_on"]) == (201, "bench-a", None)
    assert client.post(f"{HERE}/loom-03/loans", json=sent, headers=ben).status_code == 409
    back = client.post(f"{HERE}/loom-03/return", json={"place": "Drawer 9"}, headers=ben)
    assert (back.json()["state"], back.json()["place"]) == ("shelf", "Drawer 9")
    assert client.post(f"{HERE}/loom-03/return", json={}, headers=ben).status_code == 409
    assert client.get(f"{HERE}/loom-03", headers=ben).json()["loans"][0]["back_on"] is not None


def test_what_cannot_be_is_told_by_field_and_nothing_is_stored(client: TestClient, ben: Heads) -> None:
    assert fields(client.post(HERE, json=LOOM | {"tag": "A B", "name": ""}, headers=ben)) == {"tag", "name"}
    assert fields(client.post(HERE, json=LOOM | {"wine": 1}, headers=ben)) == {"wine"}
    assert fields(client.get(f"{HERE}?kind=wine", headers=ben)) == {"kind"}
    assert client.get(HERE, headers=ben).json()["parts"] == []
    client.post(HERE, json=LOOM, headers=ben)
    assert fields(client.post(HERE, json=LOOM, headers=ben)) == {"tag"}
    assert fields(client.post(f"{HERE}/loom-03/entries", json={"test": "leak"}, headers=ben)) == {"result"}
    bad = {"to_whom": "", "due_on": "1999-01-01"}
    assert fields(client.post(f"{HERE}/loom-03/loans", json=bad, headers=ben)) == {"to_whom", "due_on"}
    for path in ("none", "%00", "x" * 300):
        assert client.get(f"{HERE}/{path}", headers=ben).status_code == 404


def test_who_may_not_and_who_has_no_token(app: FastAPI, client: TestClient, ben: Heads) -> None:
    from tests.fixtures.people import make_person

    client.post(HERE, json=LOOM, headers=ben)
    cleo = make_person(app.state.engine, "cleo", "Cleo Guest")
    guest = {"Authorization": f"Bearer {token_of(app.state.engine, cleo)}"}
    assert client.get(f"{HERE}/loom-03", headers=guest).status_code == 200
    assert client.post(HERE, json=LOOM | {"tag": "x"}, headers=guest).status_code == 403
    assert client.post(f"{HERE}/loom-03/entries", json={"note": "x"}, headers=guest).status_code == 403
    assert client.get(HERE).status_code == 401
    assert client.post(HERE, json=LOOM).status_code == 401
