"""The pages of cooldowns and of the night, asked as a browser without scripts asks; and the API."""

import io
import json
from typing import Any

import anyio
import httpx
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image

from server.db import writing
from server.people.models import Person
from tests.factories import a_bench, give_grade, lid, token_of, wire

HERE = "/cryostats/bench-a"
ROOM = f"{HERE}/cooldowns"


@pytest.fixture
def bench(app: FastAPI, steward: Person) -> str:
    """Bench A, with a loom and a lid at revision 1."""
    return a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"), cooler=True)


def post(client: TestClient, address: str, **typed: Any) -> tuple[int, str]:
    answer = client.post(f"{ROOM}{address}", data=typed)
    return answer.status_code, answer.text


@pytest.mark.usefixtures("bench")
def test_a_cooldown_is_kept_from_pumping_to_its_end_without_scripts(steward_client: TestClient) -> None:
    assert "No cooldown yet" in steward_client.get(ROOM).text
    assert post(steward_client, "", purpose="Transport")[0] == 303
    assert post(steward_client, "/1/entries", kind="pressure", pressure_Pa="4e-3 mbar")[0] == 303
    status, page = post(steward_client, "/1/start", pressure_Pa="")
    assert status == 422
    assert "nobody begins to cool without having read it" in page
    assert post(steward_client, "/1/start", pressure_Pa="4,2e-3")[0] == 303
    base = {"kind": "base", "shield_K": "32.1", "platform_K": "3.30", "heater": "off", "settled": "yes"}
    assert post(steward_client, "/1/entries", **base)[0] == 303
    page = steward_client.get(f"{ROOM}/1").text
    assert "outside" in page
    assert "more than predicted at the platform" in page
    assert post(steward_client, "/1/warming", method="by itself")[0] == 303
    status, page = post(steward_client, "/1/entries", kind="vented", lowest_K="270", oxygen="20.9 %")
    assert status == 422
    assert "Choose: relief free" in page
    assert post(steward_client, "/1/end", state="open")[0] == 303
    page = steward_client.get(ROOM).text
    assert "Cooldown 1" in page
    assert "outside" in page


@pytest.mark.usefixtures("bench")
def test_what_was_typed_stays_where_something_is_to_be_mended(steward_client: TestClient) -> None:
    post(steward_client, "")
    post(steward_client, "/1/start", pressure_Pa="4e-3")
    status, page = post(
        steward_client, "/1/entries", kind="base", platform_K="3.2 furlongs", heater="off", note="Quiet"
    )
    assert status == 422
    assert "3.2 furlongs" in page
    assert "Quiet" in page
    assert "Choose: nothing moves any more" in page


AWKWARD = ["\x00", "9" * 400, "1e999", "-1", "nan", "0.2–0.4 mbar", "½", "<script>"]


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("text", AWKWARD)
def test_awkward_input_is_answered_at_its_field(steward_client: TestClient, text: str) -> None:
    post(steward_client, "")
    assert post(steward_client, "/1/entries", kind="pressure", pressure_Pa=text)[0] == 422
    assert post(steward_client, "/1/entries", kind=text)[0] == 422
    assert steward_client.get(f"{ROOM}/{'9' * 30}").status_code in (404, 422)


@pytest.mark.usefixtures("bench")
def test_who_watches_reads_and_writes_nothing(
    app: FastAPI, member: Person, member_client: TestClient, steward_client: TestClient, client: TestClient
) -> None:
    post(steward_client, "")
    give_grade(app.state.engine, "bench-a", member, 0)
    assert member_client.get(f"{ROOM}/1").status_code == 200
    for address in ("", "/1/start", "/1/entries", "/1/warming", "/1/end", "/1/marks", "/1/cooler"):
        assert post(member_client, address, kind="remark", note="x", pressure_Pa="1e-3")[0] == 403, address
    assert member_client.post(f"{HERE}/night/numbers", data={}).status_code == 403
    assert member_client.post(f"{HERE}/night/roster", data={}).status_code == 403
    assert client.get(f"{HERE}/night").status_code == 303


@pytest.mark.usefixtures("bench")
def test_anybody_with_an_account_writes_down_what_they_see_at_night(member_client: TestClient) -> None:
    sent = {"seen": "Water alarm", "stopped_at": "3:07", "pressure_Pa": "4e-3 mbar"}
    assert member_client.post(f"{HERE}/night/records", data=sent).status_code == 303
    assert "Water alarm" in member_client.get(f"{HERE}/night").text
    assert "Water alarm" in member_client.get(f"{HERE}/night/records").text
    bad = member_client.post(f"{HERE}/night/records", data={"seen": "", "called": "Quill"})
    assert bad.status_code == 422
    assert "Quill" in bad.text


@pytest.mark.usefixtures("bench")
def test_the_steward_writes_numbers_and_roster_and_the_card_shows_them(
    steward_client: TestClient, member_client: TestClient
) -> None:
    numbers = {
        "go_Pa": "5e-3 mbar",
        "restart_Pa": "5e-3",
        "longest_stop_s": "20",
        "restarts_itself": "may",
        "decides": "Ada",
        **{f"dont.{line}": text for line, text in enumerate(("Not this", "Not that", "Not these"))},
    }
    assert steward_client.post(f"{HERE}/night/numbers", data=numbers).status_code == 303
    roster: dict[str, Any] = {
        "contact.0.name": "Maren",
        "contact.0.phone": "+00 214 1",
        "contact.0.may": "restart",
    }
    roster |= {"contact.0.nights": [str(day) for day in range(7)]}
    assert steward_client.post(f"{HERE}/night/roster", data=roster).status_code == 303
    page = member_client.get(f"{HERE}/night").text
    for words in ("above 0.005 mbar", "more than 20 min", "Not that", "start without warning", "tel:+002141"):
        assert words in page
    text = member_client.get(f"{HERE}/night/card.txt")
    assert text.headers["content-disposition"].startswith("attachment")
    for words in ("above 0.005 mbar", "- Not that", "Maren: +00 214 1", "S16"):
        assert words in text.text
    bad = steward_client.post(f"{HERE}/night/numbers", data={**numbers, "restart_Pa": "soon"})
    assert bad.status_code == 422
    assert "soon" in bad.text


@pytest.mark.usefixtures("bench")
def test_no_button_of_the_card_acts_on_anything_but_the_book(member_client: TestClient) -> None:
    """All the card can send is its record; sending that changes neither state nor cooldown."""
    import re

    page = member_client.get(f"{HERE}/night").text
    actions = set(re.findall(r'action="([^"]*)"', page)) - {"/sign-out"}
    assert actions == {f"{HERE}/night/records"}
    assert not re.search(r"hx-(post|put|delete|patch)", page)


@pytest.mark.usefixtures("bench")
def test_the_last_similar_cooldown_is_a_part_and_a_page(steward_client: TestClient) -> None:
    post(steward_client, "")
    post(steward_client, "/1/start", pressure_Pa="4e-3")
    base = {"kind": "base", "shield_K": "32.1", "platform_K": "3.19", "heater": "off", "settled": "yes"}
    post(steward_client, "/1/entries", **base)
    page = steward_client.get(f"{ROOM}/similar?revision=1").text
    assert "2 of 2 elements are the same" in page
    part = steward_client.get(f"{ROOM}/similar?revision=1", headers={"HX-Request": "true"}).text
    assert "2 of 2 elements are the same" in part
    assert "<html" not in part
    assert steward_client.get(f"{ROOM}/similar?draft=99").status_code == 404
    held = json.dumps({"put": [lid("off", label="Lid")], "remove": []})
    change = {"held": held, "base_revision": "1", "do": "preview"}
    page = steward_client.post(f"{ROOM}/similar", data=change).text
    assert "1 of 2 elements are the same" in page
    assert "The last cooldown like this change" in page
    assert steward_client.post(f"{ROOM}/similar", data={"held": "{", "base_revision": "x"}).status_code == 200
    preview = steward_client.post(f"{HERE}/configuration", data=change).text
    assert f'hx-post="{ROOM}/similar"' in preview


@pytest.mark.usefixtures("bench")
def test_photographs_are_kept_or_told_why_not(steward_client: TestClient) -> None:
    post(steward_client, "")
    content = io.BytesIO()
    Image.new("RGB", (40, 30), "navy").save(content, "PNG")
    files = {"files": ("gauge.png", content.getvalue(), "image/png")}
    answer = steward_client.post(f"{ROOM}/1/photographs", data={"caption": "Gauge"}, files=files)
    assert answer.status_code == 303
    assert "Gauge" in steward_client.get(f"{ROOM}/1").text
    bad = {"files": ("gauge.png", b"no picture", "image/png")}
    assert steward_client.post(f"{ROOM}/1/photographs", data={"caption": ""}, files=bad).status_code == 422


class Program:
    """A program that holds a token."""

    def __init__(self, app: FastAPI, person: Person) -> None:
        self.app = app
        self.headers = {
            "Authorization": f"Bearer {token_of(app.state.engine, person)}",
            "Content-Type": "application/json",
        }

    def ask(self, method: str, path: str, body: Any = None) -> httpx.Response:
        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://books.test") as client:
                content = None if body is None else json.dumps(body)
                path_ = f"/api/v1{ROOM}{path}"
                return await client.request(method, path_, headers=self.headers, content=content)

        return anyio.run(go)


@pytest.mark.usefixtures("bench")
def test_a_program_keeps_a_cooldown_the_way_the_page_does(app: FastAPI, steward: Person) -> None:
    program = Program(app, steward)
    made = program.ask("POST", "", {"purpose": "Transport"})
    assert made.status_code == 201, made.text
    assert made.json()["expected"]["revision"] == 1
    assert "platform" in made.json()["expected"]["temperatures_K"]
    refused = program.ask("PUT", "/1/start", {})
    assert refused.status_code == 422
    assert "pressure_Pa" in json.dumps(refused.json()["fields"])
    assert program.ask("PUT", "/1/start", {"pressure_Pa": 0.3}).json()["phase"] == "cooling"
    data = {"shield_K": 32.1, "platform_K": 3.3, "heater": "off", "settled": "yes"}
    cold = program.ask("POST", "/1/entries", {"kind": "base", "data": data}).json()
    assert cold["phase"] == "cold"
    assert {row["stage"]: row["verdict"] for row in cold["residuals"]}["platform"] == "outside"
    assert cold["implied_loads"][0]["stage"] == "platform"
    entry = cold["entries"][-1]["id"]
    back = program.ask("POST", f"/1/entries/{entry}/take-back", {"reason": "Wrong curve"}).json()
    assert [row["counts"] for row in back["entries"] if row["id"] == entry] == [False]
    assert program.ask("PUT", "/1/warming", {"data": {"method": "by itself"}}).json()["phase"] == "warming"
    assert program.ask("PUT", "/1/end", {"state": "parked"}).json()["phase"] == "over"
    listed = program.ask("GET", "").json()
    assert [row["number"] for row in listed["cooldowns"]] == [1]
    assert program.ask("GET", "/2").status_code == 404
    assert program.ask("PUT", "/1/end", {"state": "parked"}).status_code == 409


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize(
    "body",
    [
        {"kind": "pressure", "data": {"pressure_Pa": "much"}},
        {"kind": "pressure", "data": {"pressure_Pa": [1]}},
        {"kind": "mark", "data": {"stage": {}, "target": []}},
        {"kind": "\x00", "data": {}},
        {"kind": "remark", "note": "a\x00b"},
        {"kind": "remark", "note": "x" * 3000},
        {"kind": "remark", "note": "x", "at": "2999-01-01T00:00:00Z"},
        {"kind": "remark", "note": "x", "at": "0001-01-01T00:00:00+14:00"},
        {"kind": "remark", "note": "x", "colour": 1},
    ],
)
def test_a_program_is_told_what_to_mend(app: FastAPI, steward: Person, body: dict[str, Any]) -> None:
    program = Program(app, steward)
    program.ask("POST", "", {})
    assert program.ask("POST", "/1/entries", body).status_code == 422


@pytest.mark.usefixtures("bench")
def test_a_program_of_somebody_who_watches_is_told_no(app: FastAPI, member: Person) -> None:
    give_grade(app.state.engine, "bench-a", member, 0)
    assert Program(app, member).ask("POST", "", {}).status_code == 403
    assert Program(app, member).ask("GET", "").status_code == 200


def test_a_cooldown_through_a_change_of_the_clock_counts_real_hours(
    app: FastAPI, steward: Person, bench: str
) -> None:
    """Clocks in Vienna went forward on 29 March 2026 at 01:00 UTC; from 22:00 to 06:00 are seven hours."""
    from datetime import datetime

    from server.cooldowns import rules, service
    from server.cooldowns.forms import Here, beginning, written
    from server.cryostats import guards
    from server.web.forms import Form

    here = Here("Europe/Vienna", datetime.fromisoformat("2026-03-29T12:00:00+00:00"))
    with writing(app.state.engine) as session:
        wish = beginning(Form([("pressure_Pa", "4e-3"), ("at", "2026-03-28 22:00")]), here)
        service.start(session, steward, bench, wish, here.now)
        mark = Form([("kind", "mark"), ("stage", "platform"), ("target", "10"), ("at", "2026-03-29 06:00")])
        service.enter(session, steward, bench, 1, written(mark, here), here.now)
        sheet = service.find(session, guards.find(session, bench), 1)
        assert [row.took_s for row in rules.marks(sheet.cooldown, sheet.entries)] == [7 * 3600.0]
