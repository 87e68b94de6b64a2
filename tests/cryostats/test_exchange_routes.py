"""In and out through a browser: the files, and a file brought in by way of the change page."""

import html
import json
import re
import xml.dom.minidom
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.cryostats import contents, drafts, guards
from server.cryostats.rules import Put
from server.db import reading, writing
from server.people.models import Person
from tests.factories import AT, a_bench, change, give_grade, lid, wire
from tests.fixtures.people import make_person

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
FILES = {
    "configuration.json": "application/json",
    "wire-list.csv": "text/csv",
    "wire-list.csv?style=semicolon": "text/csv",
    "budget.csv": "text/csv",
    "wire-map.svg": "image/svg+xml",
}


@pytest.fixture
def slug(app: FastAPI, steward: Person, member: Person) -> str:
    """A cryostat with a loom and a lid, which Ben may rewire."""
    made = a_bench(
        app.state.engine, steward, wire(label="Loom <script>alert(1)</script>"), lid(), cooler=True
    )
    give_grade(app.state.engine, made, member, 3)
    return made


def inside(app: FastAPI, slug: str) -> dict[str, Put]:
    with reading(app.state.engine) as session:
        cryostat = guards.find(session, slug)
        return contents.elements(session, cryostat, cryostat.revision)


def bring(client: TestClient, slug: str, content: bytes, name: str = "loom.json", **texts: str) -> Any:
    return client.post(f"/cryostats/{slug}/exchange", data=texts, files={"file": (name, content)})


def document(client: TestClient, slug: str) -> dict[str, Any]:
    value: dict[str, Any] = client.get(f"/cryostats/{slug}/configuration.json").json()
    return value


@pytest.mark.parametrize("name", FILES)
def test_every_file_is_handed_over_to_be_kept_and_shut_in(
    member_client: TestClient, slug: str, name: str
) -> None:
    answer = member_client.get(f"/cryostats/{slug}/{name}")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith(FILES[name])
    assert answer.headers["content-disposition"].startswith(f'attachment; filename="{slug}-revision-1')
    assert "sandbox" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("name", [*FILES, "exchange", "wire-map"])
def test_a_past_revision_can_be_taken_out_and_one_that_never_was_cannot(
    member_client: TestClient, slug: str, name: str
) -> None:
    address = f"/cryostats/{slug}/{name}{'&' if '?' in name else '?'}revision="
    assert member_client.get(f"{address}1").status_code == 200
    assert member_client.get(f"{address}0").status_code == 200
    assert member_client.get(f"{address}2").status_code == 404
    assert member_client.get(f"{address}x").status_code == 422


@pytest.mark.parametrize("name", [*FILES, "exchange", "wire-map"])
def test_who_is_not_signed_in_takes_nothing_out(client: TestClient, slug: str, name: str) -> None:
    assert client.get(f"/cryostats/{slug}/{name}").status_code == 303


def test_the_drawing_is_well_formed_and_holds_no_script_whatever_things_are_called(
    member_client: TestClient, slug: str
) -> None:
    answer = member_client.get(f"/cryostats/{slug}/wire-map.svg")
    drawing = xml.dom.minidom.parseString(answer.content)  # noqa: S318 - it is our own
    assert drawing.getElementsByTagName("script") == []
    words = " ".join(node.toxml() for node in drawing.getElementsByTagName("text"))
    assert "Bench A · revision 1" in words
    assert "Ada Steward" in words
    assert "24 × AWG 36" in words
    assert "300 mm" in words


def test_a_file_becomes_a_change_in_hand_and_nothing_is_stored(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    value = document(member_client, slug)
    value["elements"][0]["count"] = 12
    answer = bring(member_client, slug, json.dumps(value).encode())
    assert answer.status_code == 200
    assert "What it would do" in answer.text
    assert "Brought in from the file loom.json" in answer.text
    assert inside(app, slug)["loom"].data["count"] == 24


def test_what_the_page_then_holds_is_logged_by_the_page(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    value = document(member_client, slug)
    value["elements"][0]["count"] = 12
    page = bring(member_client, slug, json.dumps(value).encode(), reason="Half the lines").text
    held = html.unescape(re.findall(r'name="held" value="([^"]*)"', page)[0])
    form = {"do": "log", "base_revision": "1", "held": held, "reason": "Half the lines"}
    assert member_client.post(f"/cryostats/{slug}/configuration", data=form).status_code == 303
    assert inside(app, slug)["loom"].data["count"] == 12


def test_pasted_text_does_as_well_as_a_file(member_client: TestClient, slug: str) -> None:
    data = {"text": "key;kind;count\nloom;wire;12"}
    answer = member_client.post(f"/cryostats/{slug}/exchange", data=data)
    assert answer.status_code == 200
    assert "how many: 24 → 12" in answer.text


def test_what_is_to_be_mended_is_listed_with_its_line(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    before = inside(app, slug)
    answer = bring(
        member_client, slug, b"key;kind;count\nloom;wire;-1\nb;lid;\n", "x.csv", reason="Kept words"
    )
    assert answer.status_code == 422
    assert '<td class="num">3</td><td><code>kind</code></td>' in answer.text
    assert 'value="Kept words"' in answer.text
    assert inside(app, slug) == before


def test_nothing_sent_is_asked_for(member_client: TestClient, slug: str) -> None:
    answer = member_client.post(f"/cryostats/{slug}/exchange", data={})
    assert answer.status_code == 422
    assert "Choose a file" in answer.text


def test_what_the_change_page_could_not_carry_is_refused_here(member_client: TestClient, slug: str) -> None:
    note = "ä" * 900
    rows = [{"key": f"w{number}", "kind": "wire", "note": note} for number in range(600)]
    value = {"cryostat": {}, "elements": rows}
    answer = bring(member_client, slug, json.dumps(value, ensure_ascii=False).encode())
    assert answer.status_code == 422
    assert "smaller parts" in answer.text


def test_who_may_not_open_it_brings_nothing_in(app: FastAPI, sign_in: Any, slug: str) -> None:
    client = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    assert bring(client, slug, b"key,kind\nx,wire\n").status_code == 403
    assert "Show what it would change" not in client.get(f"/cryostats/{slug}/exchange").text
    assert client.get(f"/cryostats/{slug}/configuration.json").status_code == 200


def test_who_may_not_rewire_is_refused_when_logging(
    app: FastAPI, member_client: TestClient, member: Person, slug: str
) -> None:
    give_grade(app.state.engine, slug, member, 2)
    assert bring(member_client, slug, b"key,kind\nx,wire\n").status_code == 200
    held = json.dumps({"put": [{"key": "x", "kind": "wire"}], "remove": []})
    form = {"do": "log", "base_revision": "1", "held": held, "reason": "x"}
    assert member_client.post(f"/cryostats/{slug}/configuration", data=form).status_code == 403


def test_a_form_from_elsewhere_is_refused(member_client: TestClient, slug: str) -> None:
    member_client.headers["Sec-Fetch-Site"] = "cross-site"
    assert bring(member_client, slug, b"key,kind\nx,wire\n").status_code == 403


def test_the_sheet_shows_every_run_with_its_lags_and_where_it_ends(
    member_client: TestClient, slug: str
) -> None:
    page = member_client.get(f"/cryostats/{slug}/wire-map").text
    for words in ("W1", "phosphor-bronze", "vessel to shield: 300 mm", "at shield: good, 20 mm", "platform"):
        assert words in page
    assert "<script>alert" not in page


def test_a_cryostat_without_runs_or_cooler_has_its_files_too(
    app: FastAPI, member_client: TestClient, steward: Person
) -> None:
    slug = a_bench(app.state.engine, steward)
    for name in (*FILES, "exchange", "wire-map"):
        assert member_client.get(f"/cryostats/{slug}/{name}").status_code == 200
    assert "cooler" not in document(member_client, slug)["cryostat"]
    assert "No cooler is entered yet" in member_client.get(f"/cryostats/{slug}/exchange").text


def test_a_stale_base_is_told_by_the_page_and_the_file_is_not_lost(
    app: FastAPI, member_client: TestClient, steward: Person, slug: str
) -> None:
    from tests.factories import logged

    with writing(app.state.engine) as session:
        logged(session, steward, guards.find(session, slug), wire("other"))
        session.commit()
    held = json.dumps({"put": [wire(count=12)], "remove": []})
    form = {"do": "log", "base_revision": "1", "held": held, "reason": "x"}
    answer = member_client.post(f"/cryostats/{slug}/configuration", data=form)
    assert answer.status_code == 409
    assert "&#34;count&#34;: 12" in answer.text


@pytest.fixture
def draft(app: FastAPI, member: Person, slug: str) -> int:
    """A draft in which the loom has 12 wires."""
    with writing(app.state.engine) as session:
        drawn = drafts.Drawn("Fewer lines", change(1, wire(count=12)))
        sheet = drafts.make(session, member, slug, drawn, AT)
        session.commit()
        return sheet.draft.id or 0


def test_a_draft_goes_out_as_what_would_be_inside(member_client: TestClient, slug: str, draft: int) -> None:
    answer = member_client.get(f"/drafts/{draft}/document.json")
    assert f"{slug}-draft-{draft}-version-1.json" in answer.headers["content-disposition"]
    assert {row["key"]: row.get("count") for row in answer.json()["elements"]} == {"loom": 12, "lid": None}
    assert ",12," in member_client.get(f"/drafts/{draft}/wire-list.csv").text
    assert member_client.get("/drafts/99/document.json").status_code == 404


def test_the_wire_map_of_a_draft_says_that_nothing_of_it_is_built(
    member_client: TestClient, slug: str, draft: int
) -> None:
    page = member_client.get(f"/drafts/{draft}").text
    for name in ("document.json", "wire-list.csv", "wire-map", "budget.csv"):
        assert f'href="/drafts/{draft}/{name}"' in page
        assert member_client.get(f"/drafts/{draft}/{name}").status_code == 200
    shown = member_client.get(f"/drafts/{draft}/wire-map").text
    assert "Nothing of this is built" in shown
    assert f"Draft {draft}, version 1, on revision 1" in shown
    drawn = member_client.get(f"/drafts/{draft}/wire-map.svg")
    assert f"{slug}-draft-{draft}-version-1-wires.svg" in drawn.headers["content-disposition"]
    xml.dom.minidom.parseString(drawn.text)  # noqa: S318 - made by ourselves a line above
    assert "12 ×" in drawn.text
    assert "Not built" in drawn.text
    assert "Not built" not in member_client.get(f"/cryostats/{slug}/wire-map.svg").text
    assert member_client.get("/drafts/99/wire-map").status_code == 404


def test_a_file_becomes_a_draft_in_hand_and_nothing_is_stored(
    app: FastAPI, sign_in: Any, slug: str, draft: int
) -> None:
    """Whoever may operate may draw, and may not change."""
    ben = make_person(app.state.engine, "cleo", "Cleo Guest")
    give_grade(app.state.engine, slug, ben, 1)
    client = sign_in(ben)
    value = client.get(f"/drafts/{draft}/document.json").content
    assert bring(client, slug, value).status_code == 403
    answer = bring(client, slug, value, do="draft")
    assert answer.status_code == 200
    assert f'action="/cryostats/{slug}/drafts"' in answer.text
    assert "how many: 24 → 12" in answer.text
    assert bring(client, slug, b"key,kind\nx,lid\n", do="draft").status_code == 422
    assert inside(app, slug)["loom"].data["count"] == 24
