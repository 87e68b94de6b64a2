"""The pages and the API of openings: whole ways, bad input, the wrong person; both engines."""

from io import BytesIO

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import select

from server.cautions.service import seed
from server.cryostats import parts
from server.cryostats.part_rules import Described
from server.db import writing
from server.people.models import Person
from tests.factories import AT, a_bench, give_grade, lid, token_of, wire
from tests.openings.telling import stock_up

HOME = "/cryostats/bench-a/openings"
VENT = {"gas": "nitrogen", "oxygen": "20.9", "coldest_K": "294", "relief_free": "yes"}


@pytest.fixture
def opener(app: FastAPI, steward: Person, member: Person, member_client: TestClient) -> TestClient:
    """Somebody who opens a bench with a loom and a lid; the stock room has gloves, and little grease."""
    slug = a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"))
    give_grade(app.state.engine, slug, member, 2)
    with writing(app.state.engine) as session:
        seed(session)
        stock_up(session, AT, gloves="400", vacuum_grease="0.1")
        session.commit()
    return member_client


def do(client: TestClient, kind: str, **fields: str) -> int:
    return client.post(f"{HOME}/1/steps/{kind}", data=fields).status_code


def test_a_slip_goes_from_begun_to_pumped_through_its_page(opener: TestClient) -> None:
    begun = opener.post(HOME, data={"why": "Sample exchange"})
    assert (begun.status_code, begun.headers["location"]) == (303, f"{HOME}/1")
    page = opener.get(f"{HOME}/1").text
    assert "Caution: nitrogen or helium in the room" in page
    assert "Must not stand in" in page
    assert do(opener, "vent", **VENT) == 303
    assert do(opener, "lid-off") == 303
    seals = {"seal.other.where": "Lid flange", "seal.other.done": "ring:greased"}
    assert do(opener, "seals", **seals) == 303
    assert do(opener, "screws", where="Mount", torque_N_m="5 in·lbf", driver="D2") == 303
    assert do(opener, "used", **{"item.gloves": "6", "item.vacuum-grease": "0.3"}) == 303
    assert do(opener, "tray", out="12", **{"in": "12"}) == 303
    assert do(opener, "built") == 303
    assert do(opener, "close", list_words="Paper list used", humidity="40") == 303
    assert do(opener, "pumped") == 303
    page = opener.get(f"{HOME}/1").text
    for words in (
        "closed and pumped",
        "Lid flange: greased",
        "0.565 N·m",
        "Gloves",
        "Count again in the stock",
    ):
        assert words in page
    assert "is safe" not in page
    assert "Sample exchange" in opener.get(HOME).text
    assert "Lid flange: greased" in opener.get(f"{HOME}/1/paper").text
    part = opener.get(f"{HOME}/part", headers={"HX-Request": "true"}).text
    assert "Sample exchange" in part
    assert "<html" not in part
    assert opener.get("/cryostats/bench-a").status_code == 200


def test_what_is_wrong_stands_at_its_field_with_what_was_typed(opener: TestClient) -> None:
    assert opener.post(HOME, data={"why": ""}).status_code == 422
    assert opener.post(HOME, data={"why": "x", "draft": "9999999999"}).status_code == 422
    assert opener.post(HOME, data={"why": "x", "draft": "77"}).status_code == 404
    opener.post(HOME, data={"why": "Sample"})
    answer = opener.post(f"{HOME}/1/steps/vent", data={**VENT, "coldest_K": "280", "at": "yesterday"})
    assert answer.status_code == 422
    assert "Enter day and time" in answer.text
    answer = opener.post(f"{HOME}/1/steps/vent", data={**VENT, "coldest_K": "280"})
    assert "Everything inside is above 290 K" in answer.text
    assert 'value="280"' in answer.text
    for kind, fields in (
        ("vent", {**VENT, "oxygen": "a lot"}),
        ("vent", {**VENT, "oxygen": "1e400"}),
        ("tray", {"out": "99999999999999999999", "in": "x"}),
        ("note", {"note": ""}),
        ("take-back", {"entry": "1", "reason": ""}),
    ):
        answer = opener.post(f"{HOME}/1/steps/{kind}", data=fields)
        assert answer.status_code in (404, 422), (kind, fields)
    assert do(opener, "vent", **VENT) == 303
    for kind, fields in (
        ("seals", {}),
        ("seals", {"seal.other.done": "ring:greased"}),
        ("seals", {"seal.x.done": "ring:kissed", "seal.x.where": "Lid", "seal.x.part": "no-such"}),
        ("screws", {"where": "Mount", "torque_N_m": "5"}),
        ("used", {"item.no-such": "1"}),
        ("used", {"item.gloves": "many"}),
        ("used", {}),
    ):
        assert do(opener, kind, **fields) == 422, (kind, fields)
    assert do(opener, "dance") == 404
    assert do(opener, "close") == 409


def test_numbers_that_cannot_be_are_not_found(opener: TestClient) -> None:
    for number in ("0", "7", "99999999999999999999"):
        assert opener.get(f"{HOME}/{number}").status_code == 404
        assert opener.post(f"{HOME}/{number}/steps/note", data={"note": "x"}).status_code == 404


def test_whoever_watches_reads_and_writes_nothing(opener: TestClient, app: FastAPI, member: Person) -> None:
    opener.post(HOME, data={"why": "Sample"})
    give_grade(app.state.engine, "bench-a", member, 0)
    page = opener.get(f"{HOME}/1").text
    assert "Its steps need grade 2" in page
    assert "steps/vent" not in page
    assert do(opener, "vent", **VENT) == 403
    assert do(opener, "note", note="x") == 403
    assert opener.post(HOME, data={"why": "Another"}).status_code == 403
    assert opener.post(f"{HOME}/1/lists/before-warming").status_code == 403
    give_grade(app.state.engine, "bench-a", member, 1)
    assert do(opener, "note", note="It smells of burning") == 303
    assert do(opener, "vent", **VENT) == 403


def test_each_ring_and_window_of_the_bench_is_a_row_of_its_own(opener: TestClient, app: FastAPI) -> None:
    with writing(app.state.engine) as session:
        ada = session.exec(select(Person).where(Person.login == "ada")).one()
        for tag, kind in (("ring-1", "ring"), ("glass-1", "window"), ("ring-2", "ring")):
            place = "Bench A" if tag.endswith("1") else "Shelf"
            parts.enter(session, ada, Described(tag, kind, f"Part {tag}", "", {}, place=place), AT, AT.date())
        session.commit()
    opener.post(HOME, data={"why": "Sample"})
    do(opener, "vent", **VENT)
    page = opener.get(f"{HOME}/1").text
    assert 'name="seal.ring-1.done"' in page
    assert 'name="seal.ring-2.done"' not in page
    rows = {
        "seal.ring-1.where": "Part ring-1",
        "seal.ring-1.part": "ring-1",
        "seal.ring-1.done": "ring:greased",
        "seal.glass-1.where": "Part glass-1",
        "seal.glass-1.part": "glass-1",
        "seal.glass-1.done": "window:moved",
    }
    assert do(opener, "seals", **rows) == 303
    page = opener.get(f"{HOME}/1").text
    for words in ("Part ring-1 (ring-1): greased", "Part glass-1 (glass-1): moved"):
        assert words in page
    assert "Opening 1 of Bench A: greased" in opener.get("/parts/ring-1").text


def test_a_list_begun_from_the_slip_is_gone_on_with(opener: TestClient) -> None:
    opener.post(HOME, data={"why": "Sample"})
    first = opener.post(f"{HOME}/1/lists/before-warming").headers["location"]
    assert first.startswith("/checklists/")
    assert opener.post(f"{HOME}/1/lists/before-warming").headers["location"] == first
    assert opener.post(f"{HOME}/1/lists/newcomer-training").status_code == 404
    assert f'hx-get="{first}/part"' in opener.get(f"{HOME}/1").text


def test_photographs_are_kept_with_the_slip_and_anything_else_is_not(opener: TestClient) -> None:
    opener.post(HOME, data={"why": "Sample"})
    made = BytesIO()
    Image.new("RGB", (8, 6), "white").save(made, "PNG")
    sent = {"files": ("inside.png", made.getvalue(), "image/png")}
    said = {"shows": "before", "caption": "As found"}
    assert opener.post(f"{HOME}/1/photographs", data=said, files=sent).status_code == 303
    assert 'alt="As found"' in opener.get(f"{HOME}/1").text
    bad = {"files": ("x.png", b"no picture", "image/png")}
    assert opener.post(f"{HOME}/1/photographs", data=said, files=bad).status_code == 422
    none = opener.post(f"{HOME}/1/photographs", data={**said, "shows": "later"}, files=sent)
    assert none.status_code == 422


def test_a_program_begins_a_slip_writes_steps_and_reads_facts(
    opener: TestClient, app: FastAPI, member: Person
) -> None:
    head = {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}
    api = "/api/v1" + HOME
    begun = opener.post(api, json={"why": "Sample"}, headers=head)
    assert begun.status_code == 201
    assert begun.json()["phase"] == "begun"
    steps = f"{api}/1/steps"
    refused = opener.post(steps, json={"kind": "vent", "data": {"gas": "nitrogen"}}, headers=head)
    assert refused.status_code == 422
    fields = {row["field"] for row in refused.json()["fields"]}
    assert fields == {"coldest_K", "oxygen", "relief_free"}
    data = {"gas": "nitrogen", "oxygen": 0.209, "coldest_K": 294, "relief_free": True}
    assert opener.post(steps, json={"kind": "vent", "data": data}, headers=head).status_code == 201
    ring = {"kind": "ring", "data": {"where": "Lid", "done": "greased"}}
    kept = opener.post(steps, json=ring, headers=head)
    assert kept.status_code == 201
    facts = opener.get(f"{api}/facts?since=2026-01-01T00:00:00Z", headers=head).json()
    assert [row["kind"] for row in facts] == ["vented", "ring-greased"]
    back = opener.post(f"{steps}/{kept.json()['id']}/taken-back", json={"reason": "Not I"}, headers=head)
    assert back.status_code == 201
    slip = opener.get(f"{api}/1", headers=head).json()
    assert [row["counts"] for row in slip["entries"]] == [True, False, True]
    assert opener.get(api, headers=head).json()["openings"][0]["phase"] == "vented"
    assert opener.post(api, json={"why": "x"}, headers=head).status_code == 409


def test_a_program_that_sends_nonsense_is_told_so(opener: TestClient, app: FastAPI, member: Person) -> None:
    head = {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}
    opener.post(HOME, data={"why": "Sample"})
    do(opener, "vent", **VENT)
    for kind, data in (
        ("ring", {"where": {"a": 1}, "done": "greased"}),
        ("ring", {"where": "Lid", "done": ["greased"]}),
        ("ring", {"where": "Lid", "done": "greased", "part": 7}),
        ("ring", {"where": "L\u0000d", "done": "greased"}),
        ("screws", {"where": "Mount", "torque_N_m": "5"}),
        ("screws", {"where": "Mount", "driver": 5}),
        ("used", {"amounts": {"gloves": {"a": 1}}}),
        ("used", {"amounts": {"gloves": 1e300}}),
        ("tray", {"out": True, "in": 1.5}),
        ("note", {}),
    ):
        sent = {"kind": kind, "data": data}
        answer = opener.post(f"/api/v1{HOME}/1/steps", json=sent, headers=head)
        assert answer.status_code == 422, (kind, data)
