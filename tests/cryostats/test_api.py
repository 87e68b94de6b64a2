"""The JSON face, asked as a program asks it: over HTTP, with a bearer token."""

import json
from collections.abc import Callable
from typing import Any

import anyio
import httpx
import pytest
from fastapi import FastAPI

from server.people.models import Person
from tests.factories import a_bench, give_grade, lid, token_of, wire

SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
HERE = "/api/v1/cryostats/bench-a"
Body = dict[str, Any]


class Program:
    """A program that holds a token."""

    def __init__(self, app: FastAPI, token: str) -> None:
        self.app = app
        self.headers = {"Authorization": f"Bearer {token}"} if token else {}

    def get(self, path: str, **query: Any) -> httpx.Response:
        return self.ask("GET", path, params=query)

    def post(self, body: Any, path: str = f"{HERE}/changes") -> httpx.Response:
        return self.ask("POST", path, content=body if isinstance(body, str | bytes) else json.dumps(body))

    def ask(self, method: str, path: str, **what: Any) -> httpx.Response:
        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(self.app)
            headers = {**self.headers, "Content-Type": "application/json"}
            async with httpx.AsyncClient(transport=transport, base_url="http://books.test") as client:
                return await client.request(method, path, headers=headers, **what)

        return anyio.run(go)


@pytest.fixture
def program(app: FastAPI, steward: Person) -> Program:
    """A program of the steward; in the books is Bench A, with a loom and a lid at revision 1."""
    a_bench(app.state.engine, steward, wire(), lid())
    return Program(app, token_of(app.state.engine, steward))


def body(*put: Body, base: Any = 1, **more: Any) -> Body:
    return {"reason": "Because", "base_revision": base, "put": list(put), **more}


def fields(answer: httpx.Response) -> dict[str, str]:
    return {row["field"]: row["message"] for row in strictly(answer)["fields"]}


def strictly(answer: httpx.Response) -> Any:
    """The answer as JSON; NaN and Infinity are no JSON."""

    def no_number(text: str) -> float:
        raise AssertionError(f"{text} is no JSON")

    return json.loads(answer.content, parse_constant=no_number)


def nothing_stored(program: Program) -> bool:
    found = strictly(program.get(f"{HERE}/configuration"))
    return found["revision"] == 1 and [row["key"] for row in found["elements"]] == ["loom", "lid"]


def test_a_change_is_answered_with_its_revision_and_budget(program: Program) -> None:
    answer = program.post(body(wire("second"), lid("off"), remove=["loom"]))
    assert answer.status_code == 201
    made = strictly(answer)
    assert (made["revision"]["number"], made["revision"]["base"], made["revision"]["by"]) == (
        2,
        1,
        "Ada Steward",
    )
    assert made["heat"]["revision"] == 2
    assert made["heat"]["budget"]["gaps"][0]["reason"].startswith("No cooler is entered yet")
    now = strictly(program.get(f"{HERE}/configuration"))
    assert {row["key"]: row.get("count") for row in now["elements"]} == {"lid": None, "second": 24}


def test_any_revision_and_its_budget_can_be_asked_for(program: Program) -> None:
    program.post(body(wire("second")))
    then = strictly(program.get(f"{HERE}/configuration", revision=1))
    assert (then["revision"], then["newest_revision"], len(then["elements"])) == (1, 2, 2)
    assert strictly(program.get(f"{HERE}/configuration", revision=0))["elements"] == []
    assert strictly(program.get(f"{HERE}/heat", revision=1))["revision"] == 1
    assert strictly(program.get(f"{HERE}/heat"))["revision"] == 2
    assert strictly(program.get("/api/v1/cryostats"))["cryostats"][0]["revision"] == 2


@SQLITE
def test_an_element_comes_back_as_it_was_sent(program: Program) -> None:
    sent = wire(
        "second", note="From the drawer", label="Second loom", current_A=[0.0, 0.002], diameter_m=None
    )
    assert program.post(body(sent)).status_code == 201
    found = strictly(program.get(f"{HERE}/configuration"))["elements"]
    assert next(row for row in found if row["key"] == "second") == sent


def test_a_stale_base_is_409_with_what_the_other_logged(program: Program) -> None:
    program.post(body(wire("second"), lid("off"), remove=["loom"]))
    answer = program.post(body(wire("mine")))
    assert answer.status_code == 409
    said = strictly(answer)
    assert fields(answer) == {"base_revision": "Stale"}
    (step,) = said["since"]
    assert step["revision"]["number"] == 2
    assert {row["key"] for row in step["put"]} == {"second", "lid"}
    assert step["remove"] == ["loom"]
    assert strictly(program.get(f"{HERE}/configuration"))["revision"] == 2


@SQLITE
def test_a_lid_is_altered_and_never_taken_out(program: Program) -> None:
    answer = program.post(body(remove=["lid"]))
    words = "lid is a lid, which is not taken out but altered: put it with its state “off”"
    assert (answer.status_code, fields(answer)) == (422, {"remove.0": words})
    assert nothing_stored(program)


BAD: list[tuple[str, Body, set[str]]] = [
    ("no reason", {**body(wire("x")), "reason": " "}, {"reason"}),
    ("a base ahead", body(wire("x"), base=9), {"base_revision"}),
    ("nothing to do", body(), {"put"}),
    ("unknown material", body(wire("x", material="unobtainable")), {"put.0.material"}),
    ("out of range", body(wire("x", count=0, diameter_m=-1)), {"put.0.count", "put.0.diameter_m"}),
    ("too large a number", body(wire("x", diameter_m=10**400)), {"put.0.diameter_m"}),
    ("a text for a number", body(wire("x", current_A="12 mA")), {"put.0.current_A"}),
    ("a range upside down", body(wire("x", current_A=[2, 1])), {"put.0.current_A"}),
    ("no such kind", body({"key": "x", "kind": "spoon"}), {"put.0.kind"}),
    ("no such field", body(wire("x", length_mm=3)), {"put.0.length_mm"}),
    (
        "no such crossing",
        body(wire("x", lengths_m={"shield-vessel": 1})),
        {"put.0.lengths_m.shield-vessel"},
    ),
    ("no such lag", body(wire("x", lags=[{"stage": "roof"}])), {"put.0.lags[0].stage"}),
    ("a bad key", body(wire("Not A Key")), {"put.0.key"}),
    ("no key", body({"kind": "wire"}), {"put.0.key"}),
    ("a key twice", body(wire("x"), wire("x")), {"put.1.key"}),
    ("a key in both", body(wire(count=2), remove=["loom"]), {"put.0.key"}),
    ("unknown in remove", body(remove=["nothing"]), {"remove.0"}),
    ("a label that is no text", body(wire("x", label=3)), {"put.0.label"}),
    ("house that is no truth", body(wire("x", house="yes")), {"put.0.house"}),
    ("a NUL in a note", body(wire("x", note="a\x00b")), {"put.0.note"}),
    ("a NUL in the reason", {**body(wire("x")), "reason": "a\x00b"}, {"reason"}),
    ("tomorrow", body(wire("x"), done_at="2999-01-01T00:00:00Z"), {"done_at"}),
    ("the year one", body(wire("x"), done_at="0001-01-01T00:00:00+14:00"), {"done_at"}),
    ("a time without a zone", body(wire("x"), done_at="2026-01-01T00:00:00"), {"done_at"}),
    (
        "two elements with faults",
        body(wire("x", count=0), lid("ajar", key="other")),
        {"put.0.count", "put.1.state"},
    ),
    ("a base that is no number", body(wire("x"), base="one"), {"base_revision"}),
    ("a base below nothing", body(wire("x"), base=-1), {"base_revision"}),
    ("a stranger's field", body(wire("x"), force=True), {"force"}),
    ("put that is no list", {**body(), "put": {"key": "x"}}, {"put"}),
    ("an element that is no object", {**body(), "put": ["wire"]}, {"put.0"}),
    ("remove that is no list", body(remove="loom"), {"remove"}),
    ("no body worth the name", [1, 2], set()),  # type: ignore[list-item]
]


@pytest.mark.parametrize(("what", "sent", "wrong"), BAD, ids=[row[0] for row in BAD])
def test_what_cannot_be_is_422_at_its_field_and_nothing_is_stored(
    program: Program, what: str, sent: Body, wrong: set[str]
) -> None:
    answer = program.post(sent)
    assert answer.status_code == 422, what
    assert set(fields(answer)) >= wrong
    assert all(fields(answer).values())
    assert nothing_stored(program)


@SQLITE
@pytest.mark.parametrize(
    ("field", "text"),
    [
        (field, text)
        for field in ("diameter_m", "count", "current_A")
        for text in ("NaN", "Infinity", "-Infinity", "1e999", "[NaN, 1]", "9" * 400)
    ],
)
def test_a_number_that_is_none_is_422_at_its_field(program: Program, field: str, text: str) -> None:
    sent = json.dumps(body(wire("x"))).replace('"ends_on"', f'"{field}": {text}, "ends_on"')
    answer = program.post(sent)
    assert answer.status_code == 422
    assert set(fields(answer)) == {f"put.0.{field}"}
    assert nothing_stored(program)


@SQLITE
@pytest.mark.parametrize(
    "sent",
    [
        "",
        "{",
        "null",
        "NaN",
        b"\xff\xfe",
        "[" * 100_000,
        '{"reason": "r", "base_revision": NaN}',
        '{"reason": "r", "base_revision": 1, "put": [{"key": "\\ud800", "kind": "\\ud800"}]}',
        '{"reason": "\\ud800", "base_revision": 1, "remove": ["\\ud800"]}',
        '{"reason": "r", "base_revision": 1, "put": [{"key":"x","kind":"wire","material":"\\ud800"}]}',
        '{"reason": "r", "base_revision": 1, "put": [{"key":"x","kind":"wire","\\ud800": 1}]}',
        '{"reason": "r", "base_revision": 1, "put": [{"key":"x","kind":"wire","note":"\\ud800"}]}',
    ],
)
def test_what_is_no_json_or_no_text_is_refused(program: Program, sent: str | bytes) -> None:
    answer = program.post(sent)
    assert answer.status_code in (400, 422)
    assert strictly(answer)["error"]
    assert nothing_stored(program)


@SQLITE
def test_five_megabytes_are_refused_before_they_are_read(program: Program) -> None:
    answer = program.post(body(wire("x", note="x" * 5_000_000)))
    assert answer.status_code == 413
    assert "MB" in answer.text
    assert nothing_stored(program)


@SQLITE
def test_more_than_two_thousand_elements_are_422(program: Program) -> None:
    answer = program.post(body(*({"key": f"w{number}", "kind": "wire"} for number in range(1999))))
    assert answer.status_code == 422
    assert fields(answer) == {"put": "A configuration holds at most 2000 elements"}
    assert nothing_stored(program)


@SQLITE
@pytest.mark.parametrize("revision", ["2", "-1", "x", "1.5", str(2**31), str(2**70), "9" * 5000])
@pytest.mark.parametrize("what", ["configuration", "heat"])
def test_a_revision_that_is_not_there_is_404_or_422(program: Program, what: str, revision: str) -> None:
    answer = program.get(f"{HERE}/{what}", revision=revision)
    assert answer.status_code in (404, 422)
    assert strictly(answer)["error"]


ASKED: list[tuple[str, str]] = [
    ("GET", "/api/v1/cryostats"),
    ("GET", f"{HERE}/configuration"),
    ("GET", f"{HERE}/heat"),
    ("POST", f"{HERE}/changes"),
]


@SQLITE
@pytest.mark.parametrize(("method", "path"), ASKED)
@pytest.mark.parametrize("token", ["", "coldstead_made-up", "\x7f"])
@pytest.mark.usefixtures("program")
def test_nobody_without_a_token_that_works_is_told_anything(
    app: FastAPI, method: str, path: str, token: str
) -> None:
    answer = Program(app, token).ask(method, path, content=json.dumps(body(wire("x"))))
    assert answer.status_code == 401
    assert strictly(answer)["error"]


@pytest.mark.parametrize("slug", ["bench-z", "%00", "Bench%20A", "a" * 5000, "%ED%A0%80"])
def test_a_cryostat_that_is_not_there_is_404(program: Program, slug: str) -> None:
    for what in ("configuration", "heat"):
        assert program.get(f"/api/v1/cryostats/{slug}/{what}").status_code == 404
    answer = program.post(body(wire("x")), f"/api/v1/cryostats/{slug}/changes")
    assert answer.status_code == 404
    assert strictly(answer)["error"]


@SQLITE
def test_the_grade_is_the_one_on_this_cryostat(app: FastAPI, program: Program, member: Person) -> None:
    engine = app.state.engine
    theirs = Program(app, token_of(engine, member))
    assert theirs.post(body(wire("x"))).status_code == 403
    give_grade(engine, "bench-a", member, 2)
    assert theirs.post(body(wire("x"))).status_code == 403
    assert nothing_stored(program)
    give_grade(engine, "bench-a", member, 3)
    assert theirs.post(body(wire("x"))).status_code == 201
    assert theirs.post(body(lid("off", opening_diameter_m=0.1), base=2)).status_code == 403


@SQLITE
def test_an_address_that_is_not_there_answers_in_json(program: Program) -> None:
    assert strictly(program.get("/api/v1/nothing"))["error"]
    assert program.ask("DELETE", f"{HERE}/configuration").status_code == 405


@SQLITE
def test_what_the_api_is_can_be_read_at_its_address(program: Program) -> None:
    described = strictly(program.get("/api/v1/openapi.json"))
    assert set(described["paths"]) >= {
        "/api/v1/cryostats",
        "/api/v1/cryostats/{slug}/configuration",
        "/api/v1/cryostats/{slug}/changes",
        "/api/v1/cryostats/{slug}/heat",
    }
    assert all(path.startswith("/api/v1/") for path in described["paths"])
    answers = described["paths"]["/api/v1/cryostats/{slug}/changes"]["post"]["responses"]
    assert set(answers) >= {"201", "401", "403", "404", "409", "422"}


@SQLITE
def test_no_made_up_request_breaks_the_api(program: Program) -> None:
    """Requests made from the API's own description; a few only, since this is the slow way to look."""
    import schemathesis
    from hypothesis import HealthCheck, Phase, given, settings

    found = strictly(program.get("/api/v1/openapi.json"))
    paths, described = found["paths"], schemathesis.openapi.from_dict(found)
    quiet = settings(
        max_examples=12,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )

    def tried(operation: Any) -> Callable[[], None]:
        @quiet
        @given(case=operation.as_strategy())
        def one(case: Any) -> None:
            sent = case.as_transport_kwargs(base_url="http://books.test")
            answer = program.ask(
                sent["method"],
                sent["url"].removeprefix("http://books.test"),
                params=sent.get("params"),
                content=json.dumps(sent["json"]) if "json" in sent else None,
            )
            assert answer.status_code < 500
            if answer.headers["content-type"].startswith("application/json"):
                strictly(answer)

        return one

    operations = [described[path][method] for path, methods in paths.items() for method in methods]
    assert len(operations) >= 4
    for operation in operations:
        tried(operation)()


@SQLITE
def test_a_state_is_entered_and_warming_is_held_to_the_table(program: Program, member: Person) -> None:
    path = f"{HERE}/state"
    made = program.post({"state": "cold"}, path)
    assert (made.status_code, strictly(made)["state"]) == (201, "cold")
    give_grade(program.app.state.engine, "bench-a", member, 2)
    other = Program(program.app, token_of(program.app.state.engine, member))
    assert other.post({"state": "warming"}, path).status_code == 403
    assert fields(program.post({"state": "open"}, path)).keys() == {"note"}
    assert program.post({"state": "frozen solid"}, path).status_code == 422
    assert program.post({"state": "open", "note": "Alarm"}, path).status_code == 201
