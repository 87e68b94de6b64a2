"""Samples: what is asked of one, who approves it, one left behind, and one that is planned on a draft."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.cryostats import beside_views, draft_steps, drafts, instruments, samples, samples_planned
from server.cryostats.draft_rules import APPROVED, ASKED
from server.cryostats.draft_steps import Ask, Said
from server.cryostats.drafts import Drawn
from server.cryostats.models import Cryostat
from server.cryostats.samples import Described, Inside
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.laboratory.service import set_up
from server.people import service as people
from server.people.models import Person
from server.people.service import CommandLine
from tests.factories import (
    AT,
    a_bench,
    a_cryostat,
    change,
    give_grade,
    lid,
    logged,
    somebody,
    token_of,
)

DAY = AT.date()
JOINT = {"key": "mount-joint", "kind": "joint", "hot_stage": "sample", "cold_stage": "mount"}
Books = tuple[Session, Person, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, Ben who opens, and an empty cryostat."""
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    bench = a_cryostat(session)
    instruments.give_grade(session, CommandLine(), bench, ben, 2, AT)
    return session, ada, ben, bench


def chip(owner: Person, **more: object) -> Described:
    said = Described("Chip 7", owner.id or 0, "none-known", "varnish", 0, attached_on=date(2026, 3, 1))
    return replace(said, **more)  # type: ignore[arg-type]


def inside(session: Session, bench: Cryostat) -> tuple[Inside, ...]:
    return samples.inside(session, [bench]).get(bench.id or 0, ())


def test_a_sample_says_whose_it_is_what_and_how_it_is_attached(books: Books) -> None:
    session, ada, ben, bench = books
    logged(session, ada, bench, JOINT)
    samples.put_in(
        session, ben, bench.slug, chip(ada, revision=1, carrier="16-pin", mount="mount-joint"), AT, DAY
    )
    (row,) = inside(session, bench)
    kept = row.sample
    assert (kept.owner_name, kept.by_name, kept.attach, kept.carrier) == ("Ada", "Ben", "varnish", "16-pin")
    assert (kept.mount, kept.attached_on, kept.revision) == ("mount-joint", date(2026, 3, 1), 1)
    assert history.of(session, "cryostat/bench-a")[0].what == "Sample in: Chip 7, of Ada"
    assert not row.needs_approval


def test_a_hazard_asks_what_happens_if_it_breaks_and_for_the_stewards_yes(books: Books) -> None:
    session, ada, ben, bench = books
    with pytest.raises(Refused) as refused:
        samples.put_in(session, ben, bench.slug, chip(ben, hazard="toxic"), AT, DAY)
    assert refused.value.fields == {"if_breaks": "Enter what is to be done if it breaks"}
    row = samples.put_in(
        session, ben, bench.slug, chip(ben, hazard="toxic", if_breaks="Close the room"), AT, DAY
    )
    assert inside(session, bench)[0].needs_approval
    with pytest.raises(Forbidden):
        samples.approve(session, ben, row.id or 0, "", AT)
    samples.approve(session, ada, row.id or 0, "In its box", AT)
    assert not inside(session, bench)[0].needs_approval
    with pytest.raises(Conflict):
        samples.approve(session, ada, row.id or 0, "", AT)


def test_a_sample_of_somebody_who_has_gone_is_left_behind_until_it_is_taken_out(books: Books) -> None:
    session, ada, ben, bench = books
    row = samples.put_in(session, ada, bench.slug, chip(ben), AT, DAY)
    assert beside_views.left_behind(session, [bench]) == {}
    people.set_active(session, ada, ben.id or 0, False, AT)
    assert [kept.sample.id for kept in beside_views.beside(session, bench).left] == [row.id]
    assert list(beside_views.left_behind(session, [bench])) == [bench.id]
    samples.take_out(session, ada, row.id or 0, "In the cupboard", AT)
    assert beside_views.left_behind(session, [bench]) == {}
    assert [(kept.what, step.note) for kept, step in samples.gone(session, bench)] == [
        ("Chip 7", "In the cupboard")
    ]
    with pytest.raises(Conflict):
        samples.take_out(session, ada, row.id or 0, "", AT)


def test_the_wrong_person_and_bad_input_store_nothing(books: Books) -> None:
    session, _, ben, bench = books
    with pytest.raises(Forbidden):
        samples.put_in(session, somebody(session, "cleo", steward=False), bench.slug, chip(ben), AT, DAY)
    bad = chip(ben, what=" ", owner_id=99, hazard="", attach="", revision=3, attached_on=date(2027, 1, 1))
    with pytest.raises(Refused) as refused:
        samples.put_in(session, ben, bench.slug, bad, AT, DAY)
    assert set(refused.value.fields) == {"what", "owner", "hazard", "attach", "revision", "attached_on"}
    with pytest.raises(NotFound):
        samples.take_out(session, ben, 2**70, "", AT)
    assert inside(session, bench) == ()


def test_the_mount_is_one_of_the_joints_of_that_revision(books: Books) -> None:
    session, ada, ben, bench = books
    logged(session, ada, bench, JOINT)
    for revision, mount in ((0, "mount-joint"), (1, "the small one"), (1, "lid")):
        with pytest.raises(Refused) as refused:
            samples.put_in(session, ben, bench.slug, chip(ben, revision=revision, mount=mount), AT, DAY)
        assert set(refused.value.fields) == {"mount"}
    samples.put_in(session, ben, bench.slug, chip(ben, revision=1, mount="mount-joint"), AT, DAY)


@pytest.mark.parametrize("ahead", [0, 1])
def test_a_sample_is_attached_by_the_laboratorys_day_not_by_utc(books: Books, ahead: int) -> None:
    """At 23:30 UTC it is the next day in Vienna already."""
    session, _, ben, bench = books
    at, tomorrow = datetime(2026, 3, 14, 23, 30, tzinfo=UTC), date(2026, 3, 15 + ahead)
    said = chip(ben, attached_on=tomorrow)
    if ahead:
        with pytest.raises(Refused):
            samples.put_in(session, ben, bench.slug, said, at, date(2026, 3, 15))
    else:
        samples.put_in(session, ben, bench.slug, said, at, date(2026, 3, 15))


# ----------------------------------------------------------------------------------------- planned on a draft


@pytest.fixture
def drawn(books: Books) -> int:
    """A draft of Ben's that puts a joint in; its number."""
    session, ada, ben, bench = books
    set_up(session, "Invented laboratory", "Europe/Vienna")
    logged(session, ada, bench, lid())
    made = drafts.make(session, ben, bench.slug, Drawn("Chip", change(1, JOINT)), AT)
    return made.draft.id or 0


def agreed(books: Books, number: int) -> None:
    session, ada, ben, _ = books
    draft_steps.take(session, ben, number, ASKED, 1, Said(), AT)
    draft_steps.take(session, ada, number, APPROVED, 1, Said("In its box", freeze_on=DAY), AT)


def test_a_planned_sample_comes_in_with_the_build_and_is_approved_with_the_draft(
    books: Books, drawn: int
) -> None:
    session, ada, ben, bench = books
    said = chip(ben, hazard="toxic", if_breaks="Close the room", mount="mount-joint")
    row = samples_planned.plan(session, ben, drawn, said, AT)
    other = samples_planned.plan(session, ben, drawn, chip(ada, what="Spare"), AT)
    samples_planned.leave_out(session, ben, drawn, other.id or 0, AT)
    assert inside(session, bench) == ()
    agreed(books, drawn)
    draft_steps.build(session, ada, drawn, Ask(1), AT)
    (here,) = inside(session, bench)
    kept = here.sample
    assert (kept.what, kept.owner_name, kept.mount, kept.revision) == ("Chip 7", "Ben", "mount-joint", 2)
    assert here.approval is not None
    assert (here.approval.by_name, here.needs_approval) == ("Ada", False)
    (planned,) = samples_planned.of_draft(session, drafts.find(session, drawn).draft)
    assert (planned.sample.id, planned.became) == (row.id, kept.id)


def test_what_is_planned_stands_still_once_it_is_asked_for(books: Books, drawn: int) -> None:
    session, _, ben, _ = books
    row = samples_planned.plan(session, ben, drawn, chip(ben), AT)
    draft_steps.take(session, ben, drawn, ASKED, 1, Said(), AT)
    with pytest.raises(Conflict, match="stand still"):
        samples_planned.plan(session, ben, drawn, chip(ben, what="Another"), AT)
    with pytest.raises(Conflict, match="stand still"):
        samples_planned.leave_out(session, ben, drawn, row.id or 0, AT)


def test_only_those_whose_draft_it_is_plan_and_a_mount_has_to_be_drawn(books: Books, drawn: int) -> None:
    session, _, ben, _ = books
    cleo = somebody(session, "cleo", steward=False)
    with pytest.raises(Forbidden):
        samples_planned.plan(session, cleo, drawn, chip(ben), AT)
    with pytest.raises(Refused) as refused:
        samples_planned.plan(session, ben, drawn, chip(ben, mount="lid", hazard="powder"), AT)
    assert set(refused.value.fields) == {"mount", "if_breaks"}
    for number in (0, 99, 2**70):
        with pytest.raises(NotFound):
            samples_planned.leave_out(session, ben, drawn, number, AT)


@pytest.mark.parametrize("table", ["sample", "sample_step", "planned_sample", "planned_step"])
def test_the_database_itself_refuses_to_rewrite_them(books: Books, drawn: int, table: str) -> None:
    session, ada, ben, _ = books
    samples_planned.plan(session, ben, drawn, chip(ben), AT)
    agreed(books, drawn)
    draft_steps.build(session, ada, drawn, Ask(1), AT)
    for statement in ("DELETE FROM {}", "UPDATE {} SET by_name = 'Eve'"):
        with pytest.raises(sa.exc.DBAPIError, match="append-only"), session.begin_nested():
            session.execute(sa.text(statement.format(table)))


# -------------------------------------------------------------------------------- in a browser, by a program


SAMPLE = {
    "what": "Chip 7",
    "hazard": "none-known",
    "attach": "grease",
    "revision": "1",
    "mount": "mount-joint",
}


@pytest.fixture
def home(app: FastAPI, steward: Person, member: Person) -> str:
    """A cryostat with a mount joint at revision 1, which Ben may open."""
    slug = a_bench(app.state.engine, steward, JOINT | {"label": "Big mount"})
    give_grade(app.state.engine, slug, member, 2)
    return f"/cryostats/{slug}"


def test_a_sample_goes_in_and_out_through_the_page(
    member_client: TestClient, member: Person, home: str
) -> None:
    address = f"{home}/samples"
    assert ">Big mount</option>" in member_client.get(address).text
    assert member_client.post(address, data=SAMPLE | {"owner": str(member.id)}).status_code == 303
    page = member_client.get(address).text
    assert "Big mount" in page.split("Inside since")[0]
    long = member_client.post(f"{address}/1/take-out", data={"note": "x" * 3000})
    assert long.status_code == 422
    assert 'id="f-take-out-1-error"' in long.text
    assert member_client.post(f"{address}/1/take-out", data={"note": "In the cupboard"}).status_code == 303
    assert "In the cupboard" in member_client.get(address).text
    assert member_client.post(f"{address}/1/take-out", data={}).status_code == 409
    assert member_client.post(f"{address}/1/approve", data={}).status_code == 403
    assert member_client.post(f"{address}/1/dance", data={}).status_code == 404


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"what": ""}, "what"),
        ({"owner": "somebody"}, "owner"),
        ({"hazard": "yes"}, "hazard"),
        ({"attach": ""}, "attach"),
        ({"attached_on": "yesterday"}, "attached_on"),
        ({"attached_on": "2199-01-01"}, "attached_on"),
        ({"mount": "the small one"}, "mount"),
        ({"revision": "9"}, "revision"),
        ({"revision": "one"}, "revision"),
    ],
)
def test_what_is_to_be_mended_is_said_at_its_field_and_what_was_typed_stays(
    member_client: TestClient, home: str, more: dict[str, str], field: str
) -> None:
    sent = SAMPLE | {"owner": "1", "carrier": "16-pin"} | more
    answer = member_client.post(f"{home}/samples", data=sent)
    assert answer.status_code == 422
    assert f'href="#f-{field}"' in answer.text
    assert 'value="16-pin"' in answer.text


def test_a_sample_is_planned_on_the_page_of_a_draft(
    member_client: TestClient, member: Person, home: str
) -> None:
    said = {"name": "Chip", "reason": "Because", "base_revision": "1", "after": "0", "do": "store"}
    held = json.dumps({"put": [JOINT | {"key": "second"}], "remove": []})
    address = member_client.post(f"{home}/drafts", data=said | {"held": held}).headers["location"]
    assert f'hx-get="{address}/samples"' in member_client.get(address).text
    sent = SAMPLE | {"owner": str(member.id), "mount": "second"}
    assert member_client.post(f"{address}/samples", data=sent | {"mount": "ghost"}).status_code == 422
    assert member_client.post(f"{address}/samples", data=sent).status_code == 303
    part = member_client.get(f"{address}/samples", headers={"HX-Request": "true"}).text
    assert "Chip 7" in part
    assert "<html" not in part
    assert member_client.post(f"{address}/samples/1/leave-out").status_code == 303
    assert "No sample is planned" in member_client.get(f"{address}/samples").text
    assert member_client.post(f"{address}/samples/1/leave-out").status_code == 404


@pytest.fixture
def tokens(app: FastAPI, member: Person, steward: Person) -> list[dict[str, str]]:
    """What Ben's and Ada's programs send along."""
    people = (member, steward)
    return [{"Authorization": f"Bearer {token_of(app.state.engine, person)}"} for person in people]


SENT: dict[str, Any] = {
    "what": "Chip 7",
    "hazard": "powder",
    "if_breaks": "Close the room",
    "mount": "mount-joint",
}


def test_a_program_puts_in_and_takes_out(client: TestClient, home: str, tokens: list[dict[str, str]]) -> None:
    address, (ben, ada) = f"/api/v1{home}/samples", tokens
    made = client.post(address, json=SENT, headers=ben)
    assert (made.status_code, made.json()["owner"], made.json()["revision"]) == (201, "Ben Member", 1)
    assert client.get(address, headers=ada).json()["inside"] == [made.json()]
    assert client.post(f"{address}/1/approve", json={}, headers=ben).status_code == 403
    assert client.post(f"{address}/1/approve", json={"note": "Boxed"}, headers=ada).json()["note"] == "Boxed"
    assert client.get(address, headers=ben).json()["inside"][0]["approval"]["by"] == "Ada Steward"
    assert client.post(f"{address}/1/take-out", json={"note": "Gone"}, headers=ben).status_code == 200
    found = client.get(address, headers=ben).json()
    assert (found["inside"], found["taken_out"][0]["taken_out"]["note"]) == ([], "Gone")
    assert client.post(f"{address}/1/take-out", json={}, headers=ben).status_code == 409


def test_what_a_program_sends_wrong_is_told(
    client: TestClient, home: str, tokens: list[dict[str, str]]
) -> None:
    address, (ben, _) = f"/api/v1{home}/samples", tokens
    for number in (2, 2**70):
        assert client.post(f"{address}/{number}/take-out", json={}, headers=ben).status_code == 404
    bad = client.post(address, json={"what": "", "hazard": "?", "owner_id": 99, "revision": 7}, headers=ben)
    assert {row["field"] for row in bad.json()["fields"]} == {"what", "hazard", "owner", "revision"}
    assert client.post(address, json=SENT | {"wine": 1}, headers=ben).status_code == 422
    assert client.post(address, json=SENT).status_code == 401
    assert client.get(address).status_code == 401


def test_a_program_plans(client: TestClient, home: str, tokens: list[dict[str, str]]) -> None:
    ben, ada = tokens
    draft = {"name": "Chip", "reason": "Because", "base_revision": 1, "remove": ["mount-joint"]}
    number = client.post(f"/api/v1{home}/drafts", json=draft, headers=ben).json()["id"]
    plans = f"/api/v1/drafts/{number}/samples"
    refused = client.post(plans, json=SENT, headers=ben)
    assert [row["field"] for row in refused.json()["fields"]] == ["mount"], (
        "the joint goes out with the draft"
    )
    planned = client.post(plans, json=SENT | {"mount": ""}, headers=ben)
    assert planned.status_code == 201, planned.text
    assert planned.json()["became"] is None
    assert client.get(plans, headers=ada).json()["samples"] == [planned.json()]
    assert client.post(f"{plans}/{planned.json()['id']}/leave-out", headers=ben).status_code == 204
    assert client.get(plans, headers=ada).json()["samples"] == []
