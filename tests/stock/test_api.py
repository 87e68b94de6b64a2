"""The JSON face of the stock room: the same services, the same refusals."""

from decimal import Decimal
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.db import writing
from server.people.models import Person
from tests.factories import a_bench, give_grade, token_of
from tests.stock.factories import BOTH, a_lot, an_item

V = "/api/v1/stock"
GLOVES = {"key": "gloves", "name": "Gloves", "unit": "pair", "floor": 100, "cautions": ["S11"]}


@pytest.fixture
def books(app: FastAPI) -> FastAPI:
    with writing(app.state.engine) as session:
        item = an_item(session)
        a_lot(session, item, "20")
        a_lot(session, item, "50", sealed=True)
        session.commit()
    return app


class Caller:
    """Somebody's program."""

    def __init__(self, client: TestClient, token: str) -> None:
        self.client, self.headers = client, {"Authorization": f"Bearer {token}"}

    def get(self, path: str) -> Any:
        return self.client.get(f"{V}{path}", headers=self.headers)

    def post(self, path: str, body: Any = None) -> Any:
        return self.client.post(f"{V}{path}", json=body, headers=self.headers)

    def put(self, path: str, body: Any) -> Any:
        return self.client.put(f"{V}{path}", json=body, headers=self.headers)


@pytest.fixture
def stranger(books: FastAPI, client: TestClient, member: Person) -> Caller:
    return Caller(client, token_of(books.state.engine, member))


@pytest.fixture
def mover(books: FastAPI, stranger: Caller, member: Person) -> Caller:
    give_grade(books.state.engine, a_bench(books.state.engine, member), member, 1)
    return stranger


@pytest.fixture
def keeper(books: FastAPI, client: TestClient, steward: Person) -> Caller:
    return Caller(client, token_of(books.state.engine, steward))


@BOTH
def test_amounts_items_and_movements_are_told(mover: Caller) -> None:
    assert (
        mover.post("/movements", {"item": "vacuum-grease", "kind": "used", "amount": 0.4}).status_code == 201
    )
    (amount,) = mover.get("/amounts").json()["amounts"]
    assert (Decimal(amount["on_hand"]), amount["sealed"]) == (Decimal("69.6"), 1)
    (item,) = mover.get("/items").json()["items"]
    assert [Decimal(lot["on_hand"]) for lot in item["lots"]] == [Decimal("19.6"), Decimal(50)]
    newest = mover.get("/movements?item=vacuum-grease&limit=1").json()["movements"]
    assert [(row["kind"], Decimal(row["change"])) for row in newest] == [("used", Decimal("-0.4"))]
    older = mover.get(f"/movements?before={newest[0]['id']}").json()["movements"]
    assert [row["kind"] for row in older] == ["received", "received"]


@BOTH
def test_every_kind_of_movement_is_taken(mover: Caller) -> None:
    for body in (
        {"kind": "received", "amount": 50, "containers": 2, "sealed": True, "code": "K7"},
        {"kind": "used", "amount": "0.4", "because": "opening"},
        {"kind": "counted", "amount": 19, "lot": 1},
        {"kind": "lent", "amount": 5, "borrower": "room 12", "due_on": "2099-01-01"},
        {"kind": "discarded", "amount": 1, "because": "dirty"},
    ):
        answer = mover.post("/movements", {"item": "vacuum-grease", **body})
        assert answer.status_code == 201, answer.text
        assert all(row["kind"] == body["kind"] for row in answer.json()["movements"])
    number = answer.json()["movements"][0]["id"]
    fixed = mover.post(f"/movements/{number}/correction", {"amount": 2, "because": "two"})
    assert (fixed.status_code, fixed.json()["corrects"]) == (201, number)


@BOTH
def test_what_is_sent_twice_is_written_once(mover: Caller) -> None:
    body = {"item": "vacuum-grease", "kind": "used", "amount": 1, "once": "my-own-number"}
    first, second = mover.post("/movements", body), mover.post("/movements", body)
    assert first.json() == second.json()
    assert Decimal(mover.get("/amounts").json()["amounts"][0]["on_hand"]) == 69


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        ({"kind": "used", "amount": 90}, 422, "amount"),
        ({"kind": "used", "amount": 0.0004}, 422, "amount"),
        ({"kind": "used", "amount": -1}, 422, "amount"),
        ({"kind": "used", "amount": 1, "because": "\u0000"}, 422, "because"),
        ({"kind": "used", "amount": 1, "lot": 2**31}, 422, "lot"),
        ({"kind": "used", "amount": 1, "lot": 99}, 404, ""),
        ({"kind": "counted", "amount": 1}, 422, "lot"),
        ({"kind": "lent", "amount": 1}, 422, "borrower"),
        ({"kind": "discarded", "amount": 1}, 422, "because"),
        ({"kind": "stolen", "amount": 1}, 422, "kind"),
        ({"kind": "used", "amount": 1, "colour": "red"}, 422, "colour"),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(
    mover: Caller, body: dict[str, Any], status: int, field: str
) -> None:
    answer = mover.post("/movements", {"item": "vacuum-grease", **body})
    assert answer.status_code == status, answer.text
    if field:
        assert field in {row["field"] for row in answer.json()["fields"]}


def test_the_wrong_person_moves_nothing(stranger: Caller, client: TestClient) -> None:
    body = {"item": "vacuum-grease", "kind": "used", "amount": 1}
    assert stranger.get("/amounts").status_code == 200
    assert stranger.post("/movements", body).status_code == 403
    assert stranger.post("/items", GLOVES).status_code == 403
    assert stranger.put("/items/vacuum-grease", {**GLOVES, "version": 1}).status_code == 403
    assert stranger.post("/movements/1/correction", {"amount": 1, "because": "x"}).status_code == 403
    promise = {"item": "vacuum-grease", "amount": 1, "until": "2099-01-01T00:00:00Z", "what_for": "x"}
    assert stranger.post("/reservations", promise).status_code == 403
    assert client.get(f"{V}/amounts").status_code == 401


def test_the_steward_enters_and_alters_items(keeper: Caller) -> None:
    assert keeper.post("/items", GLOVES | {"unit": "stone"}).json()["fields"][0]["field"] == "unit"
    made = keeper.post("/items", GLOVES)
    assert (made.status_code, made.json()["version"]) == (201, 1)
    changed = GLOVES | {"floor": 120, "version": 1, "forbidden": [{"what": "Bare fingers"}]}
    assert Decimal(keeper.put("/items/gloves", changed).json()["floor"]) == 120
    assert keeper.put("/items/gloves", changed).status_code == 409
    assert keeper.get("/items/no-such").status_code == 404


@BOTH
def test_a_promise_is_made_told_and_released(mover: Caller) -> None:
    promise = {"item": "vacuum-grease", "amount": 1, "until": "2099-01-01T00:00:00Z", "what_for": "opening"}
    made = mover.post("/reservations", promise).json()
    assert [row["id"] for row in mover.get("/reservations").json()] == [made["id"]]
    assert mover.post(f"/reservations/{made['id']}/release").json()["ended_at"] is not None
    assert mover.get("/reservations").json() == []
    assert mover.post("/reservations/99/release").status_code == 404
    assert mover.post("/reservations", promise | {"until": "1999-01-01T00:00:00Z"}).status_code == 422
