"""The pages of drafts and of what stands beside a configuration, asked as a browser without scripts asks."""

import json
import re
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.cryostats import guards
from server.db import writing
from server.people import service as people
from server.people.models import Person
from tests.factories import AT, a_bench, give_grade, lid, logged, wire

HERE = "/cryostats/bench-a"


@pytest.fixture
def bench(app: FastAPI, steward: Person) -> str:
    """Bench A, with a loom and a lid at revision 1."""
    return a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"), cooler=True)


def held(*rows: dict[str, Any], remove: tuple[str, ...] = ()) -> str:
    return json.dumps({"put": list(rows), "remove": list(remove)})


def sheet(do: str = "store", **more: Any) -> dict[str, Any]:
    said = {"name": "Chip", "reason": "Because", "base_revision": "1", "after": "0", "do": do}
    return said | {"held": held(wire(label="Loom", count=12)), **more}


def stored(client: TestClient, **more: Any) -> str:
    answer = client.post(f"{HERE}/drafts", data=sheet(**more))
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def step(client: TestClient, address: str, what: str, note: str = "", version: int = 1) -> int:
    sent = {"what": what, "version": str(version), "note": note}
    return client.post(f"{address}/steps", data=sent).status_code


@pytest.mark.usefixtures("bench")
def test_a_draft_is_drawn_in_the_form_of_a_change_and_nothing_typed_is_lost(
    steward_client: TestClient,
) -> None:
    page = steward_client.get(f"{HERE}/drafts/new?from=0").text
    assert "On revision 0" in page
    typed = sheet("kind:coax", held=held())
    editor = steward_client.post(f"{HERE}/drafts", data=typed).text
    assert "New: Coax" in editor
    assert 'value="Chip"' in editor
    opened = steward_client.post(f"{HERE}/drafts", data=sheet("alter:lid", held=held())).text
    assert "Alter Lid" in opened
    taken = steward_client.post(f"{HERE}/drafts", data=sheet("take:loom", held=held())).text
    assert re.search(r'name="held" value="[^"]*remove[^"]*loom', taken)
    bad = steward_client.post(f"{HERE}/drafts", data=sheet(name="", reason=""))
    assert bad.status_code == 422
    assert "Enter a name people will know it by" in bad.text
    assert "&#34;count&#34;: 12" in bad.text


@pytest.mark.usefixtures("bench")
def test_a_preview_stores_nothing_and_the_part_alone_is_sent_to_a_script(steward_client: TestClient) -> None:
    answer = steward_client.post(f"{HERE}/drafts", data=sheet("preview"), headers={"HX-Request": "true"})
    assert answer.text.lstrip().startswith("<section")
    assert "What that does to each stage" in answer.text
    assert "No draft yet" in steward_client.get(f"{HERE}/drafts").text


@pytest.mark.usefixtures("bench")
def test_from_drawing_to_built_the_page_shows_where_it_stands(steward_client: TestClient) -> None:
    address = stored(steward_client)
    assert "being drawn" in steward_client.get(address).text
    assert step(steward_client, address, "asked") == 303
    assert step(steward_client, address, "approved", "Photograph the lag") == 303
    page = steward_client.get(address).text
    assert "approved and frozen" in page
    assert "Photograph the lag" in page
    answer = steward_client.post(f"{address}/build", data={"version": "1", "base_revision": "1"})
    assert answer.headers["location"] == HERE
    page = steward_client.get(HERE).text
    assert "As built against as approved" in page
    assert "inside as approved" in page


def test_as_built_against_as_approved_stays_on_show(
    app: FastAPI, bench: str, steward: Person, steward_client: TestClient
) -> None:
    address = stored(steward_client)
    for what in ("asked", "approved"):
        step(steward_client, address, what)
    steward_client.post(f"{address}/build", data={"version": "1", "base_revision": "1"})
    with writing(app.state.engine) as session:
        logged(session, steward, guards.find(session, bench), lid("off", label="Lid"))
        session.commit()
    page = steward_client.get(HERE).text
    assert "not as approved" in page
    assert "on → off" in page


def test_a_clash_is_shown_with_its_choices_and_what_was_typed_stays(
    app: FastAPI, bench: str, steward: Person, steward_client: TestClient
) -> None:
    address = stored(steward_client)
    for what in ("asked", "approved"):
        step(steward_client, address, what)
    with writing(app.state.engine) as session:
        logged(session, steward, guards.find(session, bench), wire(label="Loom", count=20))
        session.commit()
    assert "24 → 20" in steward_client.get(address).text
    sent = {"version": "1", "base_revision": "2", "reason": "For the resonator"}
    answer = steward_client.post(f"{address}/build", data=sent)
    assert answer.status_code == 409
    assert 'value="For the resonator"' in answer.text
    stale = steward_client.post(
        f"{address}/build", data=sent | {"base_revision": "1", "choice.loom": "draft"}
    )
    assert stale.status_code == 409
    assert re.search(r'value="draft" checked', stale.text)
    good = steward_client.post(f"{address}/build", data=sent | {"choice.loom": "draft"})
    assert good.status_code == 303


@pytest.mark.usefixtures("bench")
def test_a_stale_version_is_answered_with_the_newest_and_nothing_typed_is_lost(
    steward_client: TestClient,
) -> None:
    address = stored(steward_client)
    assert steward_client.post(address, data=sheet(after="1", reason="Second")).status_code == 303
    stale = steward_client.post(address, data=sheet(after="1", reason="Third"))
    assert stale.status_code == 409
    assert "Somebody stored version 2 meanwhile" in stale.text
    assert "Third" in stale.text
    assert 'name="after" value="2"' in stale.text


@pytest.mark.usefixtures("bench")
def test_the_wrong_person_is_refused_on_every_page(
    app: FastAPI, member: Person, member_client: TestClient, steward_client: TestClient, client: TestClient
) -> None:
    address = stored(steward_client)
    assert client.get(address).headers["location"].startswith("/sign-in")
    assert member_client.get(address).status_code == 200
    assert member_client.get(f"{HERE}/drafts/new").status_code == 403
    assert member_client.post(f"{HERE}/drafts", data=sheet()).status_code == 403
    give_grade(app.state.engine, "bench-a", member, 4)
    assert member_client.get(f"{address}/change").status_code == 403
    assert member_client.post(address, data=sheet(after="1")).status_code == 403
    assert step(member_client, address, "asked") == 403
    assert step(steward_client, address, "asked") == 303
    assert step(member_client, address, "approved") == 403
    assert (
        member_client.post(f"{HERE}/window", data={"what": "pump", "line.operate": "yes"}).status_code == 403
    )
    assert member_client.post(f"{HERE}/orders", data={"text": "Mine", "after": "0"}).status_code == 403


@pytest.mark.usefixtures("bench")
def test_sending_back_without_a_reason_is_told_at_its_field(steward_client: TestClient) -> None:
    address = stored(steward_client)
    step(steward_client, address, "asked")
    answer = steward_client.post(f"{address}/steps", data={"what": "sent back", "version": "1", "note": ""})
    assert answer.status_code == 422
    assert 'href="#f-note-sent-back"' in answer.text


@pytest.mark.usefixtures("bench")
def test_standing_orders_come_before_the_cautions_wherever_they_apply(steward_client: TestClient) -> None:
    steward_client.post("/laboratory/orders", data={"text": "Two people, always.", "after": "0"})
    steward_client.post(f"{HERE}/orders", data={"text": "Ask before helium.", "after": "0"})
    address = stored(steward_client)
    for path in (
        HERE,
        address,
        f"{HERE}/change?kind=window",
        f"{address}/change?kind=window",
        f"{HERE}/samples",
    ):
        page = steward_client.get(path).text
        first, second = page.index("Two people, always."), page.index("Ask before helium.")
        assert first < second, path
        assert second < (page.index('class="caution"') if 'class="caution"' in page else len(page)), path
    assert "caution" in steward_client.get(f"{HERE}/change?kind=window").text


@pytest.mark.usefixtures("bench")
def test_what_is_not_recorded_opens_its_form_with_what_is_in_hand_kept(steward_client: TestClient) -> None:
    page = steward_client.get(f"{HERE}/change").text
    assert 'value="kind:window"' in page
    sent = {"base_revision": "1", "held": held(wire("second")), "do": "kind:window"}
    page = steward_client.post(f"{HERE}/configuration", data=sent).text
    assert "New: Shield window" in page
    assert "second" in page


def test_a_sample_left_behind_is_seen_on_the_list_and_on_the_cryostat(
    app: FastAPI, bench: str, steward: Person, member: Person, steward_client: TestClient
) -> None:
    said = {"what": "Chip 7", "owner": str(member.id), "hazard": "none-known", "attach": "grease"}
    bad = steward_client.post(f"{HERE}/samples", data=said | {"revision": "1", "attached_on": "soon"})
    assert bad.status_code == 422
    assert 'value="Chip 7"' in bad.text
    assert steward_client.post(f"{HERE}/samples", data=said | {"revision": "1"}).status_code == 303
    assert "left behind" not in steward_client.get("/cryostats").text
    with writing(app.state.engine) as session:
        people.set_active(session, steward, member.id or 0, False, AT)
        session.commit()
    for path in ("/cryostats", HERE, f"/cryostats/{bench}/samples"):
        assert "left behind" in steward_client.get(path).text, path


@pytest.mark.usefixtures("bench")
def test_the_table_of_the_cold_window_is_shown_to_everyone(
    member_client: TestClient, steward_client: TestClient
) -> None:
    assert "approved draft only" in member_client.get(f"{HERE}/window").text
    sent = {"what": "configuration", "line.operate": "inducted"}
    assert steward_client.post(f"{HERE}/window", data=sent).status_code == 422
