"""Drafts as a program sees them: drawn, altered, built, and every way it is told no."""

import json
from datetime import timedelta
from typing import Any

import anyio
import httpx
import pytest
from fastapi import FastAPI

from server.cryostats import draft_steps, guards
from server.db import now, writing
from server.people.models import Person
from tests.factories import a_bench, give_grade, lid, logged, token_of, wire

HERE = "/api/v1/cryostats/bench-a"
Body = dict[str, Any]


class Program:
    """A program that holds a token."""

    def __init__(self, app: FastAPI, person: Person | None) -> None:
        self.app = app
        token = token_of(app.state.engine, person) if person else "none"
        self.headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def ask(self, method: str, path: str, body: Any = None) -> httpx.Response:
        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://books.test") as client:
                content = json.dumps(body) if body is not None else None
                return await client.request(method, path, headers=self.headers, content=content)

        return anyio.run(go)


@pytest.fixture
def program(app: FastAPI, steward: Person) -> Program:
    """A program of the steward; in the books is Bench A, with a loom and a lid at revision 1."""
    a_bench(app.state.engine, steward, wire(), lid(), cooler=True)
    return Program(app, steward)


def draft(*put: Body, **more: Any) -> Body:
    return {"name": "Chip", "reason": "Because", "base_revision": 1, "put": list(put), **more}


def drawn(program: Program, *put: Body, **more: Any) -> Body:
    answer = program.ask("POST", f"{HERE}/drafts", draft(*put, **more))
    assert answer.status_code == 201, answer.text
    made: Body = answer.json()
    return made


def frozen(program: Program, steward: Person, *put: Body) -> Body:
    made = drawn(program, *put)
    with writing(program.app.state.engine) as session:
        for what in ("asked", "approved"):
            draft_steps.take(session, steward, made["id"], what, 1, "Photograph it", now())
        session.commit()
    return made


def changed(program: Program, steward: Person, *rows: Body) -> None:
    """Somebody else's change."""
    with writing(program.app.state.engine) as session:
        logged(session, steward, guards.find(session, "bench-a"), *rows)
        session.commit()


def fields(answer: httpx.Response) -> set[str]:
    return {row["field"] for row in answer.json()["fields"]}


def test_a_draft_is_answered_with_budget_and_difference_and_found_again(program: Program) -> None:
    made = drawn(program, lid("off"), remove=["loom"])
    assert (made["version"], made["state"], made["cryostat"]) == (1, "drawing", "bench-a")
    assert made["to_now"] == {"revision": 1, "put": [lid("off")], "remove": ["loom"]}
    assert made["budget"]["temperatures"].keys() >= {"shield", "platform"}
    assert program.ask("GET", f"/api/v1/drafts/{made['id']}").json() == made
    (row,) = program.ask("GET", f"{HERE}/drafts").json()["drafts"]
    assert row == {name: made[name] for name in row}


def test_putting_stores_the_next_version_and_a_stale_one_is_a_conflict(program: Program) -> None:
    made = drawn(program, wire(count=12))
    address = f"/api/v1/drafts/{made['id']}"
    answer = program.ask("PUT", address, draft(wire(count=6), version=1))
    assert (answer.status_code, answer.json()["version"]) == (200, 2)
    assert program.ask("PUT", address, draft(wire(count=5), version=1)).status_code == 409
    assert program.ask("GET", address).json()["put"] == [wire(count=6)]


def test_a_frozen_draft_is_built(program: Program, steward: Person) -> None:
    made = frozen(program, steward, wire(count=12))
    found = program.ask("GET", f"/api/v1/drafts/{made['id']}").json()
    assert (found["state"], found["conditions"]) == ("frozen", "Photograph it")
    answer = program.ask("POST", f"/api/v1/drafts/{made['id']}/build", {"version": 1})
    assert answer.status_code == 201
    assert (answer.json()["revision"]["number"], answer.json()["heat"]["revision"]) == (2, 2)
    assert program.ask("POST", f"/api/v1/drafts/{made['id']}/build", {"version": 1}).status_code == 409


def test_a_draft_nobody_approved_or_of_another_version_is_a_conflict(program: Program) -> None:
    made = drawn(program, wire(count=12))
    for version in (1, 2):
        answer = program.ask("POST", f"/api/v1/drafts/{made['id']}/build", {"version": version})
        assert answer.status_code == 409, version
    assert program.ask("GET", f"{HERE}/configuration").json()["revision"] == 1


def test_conflicts_are_shown_by_element_and_chosen(program: Program, steward: Person) -> None:
    made = frozen(program, steward, wire(count=12))
    changed(program, steward, wire(count=20))
    address = f"/api/v1/drafts/{made['id']}/build"
    answer = program.ask("POST", address, {"version": 1})
    assert answer.status_code == 409
    (clash,) = answer.json()["conflicts"]
    assert [clash["key"], *(clash[name]["count"] for name in ("base", "now", "draft"))] == [
        "loom",
        24,
        20,
        12,
    ]
    assert program.ask("GET", f"/api/v1/drafts/{made['id']}").json()["conflicts"] == [clash]
    stale = program.ask("POST", address, {"version": 1, "base_revision": 1, "choices": {"loom": "draft"}})
    assert (stale.status_code, len(stale.json()["since"])) == (409, 1)
    sent = {"version": 1, "base_revision": 2, "choices": {"loom": "draft"}}
    assert program.ask("POST", address, sent).status_code == 201


def test_bad_input_is_422_with_every_field_and_nothing_is_stored(program: Program) -> None:
    bad = draft(wire(count=-1), name="", base_revision=1, parties=[99])
    answer = program.ask("POST", f"{HERE}/drafts", bad)
    assert answer.status_code == 422
    assert fields(answer) >= {"name", "put.0.count", "parties"}
    bodies: list[Any] = [draft(base_revision=2**40), draft(wine=1), [], {"name": 3}, draft(base_revision=7)]
    for body in bodies:
        assert program.ask("POST", f"{HERE}/drafts", body).status_code == 422, body
    assert program.ask("GET", f"{HERE}/drafts").json()["drafts"] == []
    made = drawn(program, wire(count=12))
    sent = {"version": 1, "base_revision": 1, "choices": {"loom": "mine"}}
    assert program.ask("POST", f"/api/v1/drafts/{made['id']}/build", sent).status_code == 422
    for number in (0, 99, 2**70):
        assert program.ask("GET", f"/api/v1/drafts/{number}").status_code == 404, number


def test_the_wrong_person_is_refused_everywhere(program: Program, steward: Person, member: Person) -> None:
    made = frozen(program, steward, wire(count=12))
    address = f"/api/v1/drafts/{made['id']}"
    stranger = Program(program.app, member)
    assert stranger.ask("GET", address).status_code == 200
    for method, path, body in (
        ("POST", f"{HERE}/drafts", draft(wire(count=6))),
        ("PUT", address, draft(wire(count=6), version=1)),
        ("POST", f"{address}/build", {"version": 1}),
    ):
        assert stranger.ask(method, path, body).status_code == 403, path
        assert Program(program.app, None).ask(method, path, body).status_code == 401, path
    give_grade(program.app.state.engine, "bench-a", member, 3)
    assert stranger.ask("POST", f"{address}/build", {"version": 1}).status_code == 201


def test_every_step_is_there_for_a_program_too(program: Program, member: Person) -> None:
    made = drawn(program, wire(count=12), parties=[member.id])
    here = f"/api/v1/drafts/{made['id']}"
    ahead = f"{now().date() + timedelta(days=40)}"
    asked = program.ask("POST", f"{here}/ask", {"version": 1, "note": "Look", "build_on": ahead})
    assert (asked.status_code, asked.json()["state"], asked.json()["build_on"]) == (200, "asked", ahead)
    approved = program.ask("POST", f"{here}/approve", {"version": 1, "note": "Photograph it"}).json()
    assert (approved["state"], approved["conditions"]) == ("approved", "Photograph it")
    assert approved["freeze_on"] < ahead
    other = Program(program.app, member)
    give_grade(program.app.state.engine, "bench-a", member, 1)
    assert other.ask("POST", f"{here}/yes", {"version": 1}).json()["state"] == "agreed"
    assert other.ask("POST", f"{here}/freeze", {"version": 1}).json()["state"] == "frozen"
    back = program.ask("POST", f"{here}/send-back", {"version": 1, "note": "Too warm"})
    assert back.json()["state"] == "sent back"
    assert (
        program.ask("POST", f"{here}/withdraw", {"version": 1, "note": "No"}).json()["state"] == "withdrawn"
    )


def test_a_step_that_cannot_be_is_told_with_its_field(program: Program, member: Person) -> None:
    here = f"/api/v1/drafts/{drawn(program, wire(count=12))['id']}"
    assert program.ask("POST", f"{here}/praise", {"version": 1}).status_code == 404
    assert program.ask("POST", f"{here}/approve", {"version": 1}).status_code == 409
    assert program.ask("POST", f"{here}/ask", {"version": 2}).status_code == 409
    past = program.ask("POST", f"{here}/ask", {"version": 1, "build_on": "2020-01-01"})
    assert (past.status_code, past.json()["fields"][0]["field"]) == (422, "build_on")
    assert program.ask("POST", f"{here}/ask", {"version": 1, "build_on": "soon"}).status_code == 422
    assert program.ask("POST", f"{here}/ask", {"version": 1, "note": "a\x00"}).status_code == 422
    assert Program(program.app, member).ask("POST", f"{here}/ask", {"version": 1}).status_code == 403
    assert Program(program.app, None).ask("POST", f"{here}/ask", {"version": 1}).status_code == 401
