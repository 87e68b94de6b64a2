"""The change page, as a browser sends it: nothing stored before it is logged, nothing typed ever lost."""

import html
import json
import re
from collections.abc import Callable
from html.parser import HTMLParser

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import select

from server.cryostats import contents, guards, service
from server.cryostats.models import Cryostat
from server.cryostats.rules import Put
from server.db import reading, writing
from server.people.models import Person
from tests.factories import AT, a_bench, change, give_grade, lid, logged, wire

SignsIn = Callable[[Person], TestClient]
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
HOME = "/cryostats/bench-a"
PART = {"HX-Request": "true"}
LOOM = {
    "base_revision": "1",
    "kind": "wire",
    "label": "Second loom",
    "e.material": "phosphor-bronze",
    "e.count": "24",
    "e.diameter_m": "AWG 36",
    "e.lengths_m.vessel-shield": "300 mm",
    "e.lengths_m.shield-platform": "150",
    "e.ends_on": "platform",
    "e.lags.shield.state": "good",
    "e.lags.shield.length_m": "20",
}
SECOND = {**wire("second-loom"), "label": "Second loom"}


@pytest.fixture
def bench(app: FastAPI, steward: Person) -> FastAPI:
    """Bench A with a cooler, a loom and a lid, at revision 1."""
    a_bench(app.state.engine, steward, wire(), lid(), cooler=True)
    return app


@pytest.fixture
def desk(bench: FastAPI, steward_client: TestClient) -> TestClient:
    assert bench.state
    return steward_client


def send(desk: TestClient, do: str, **fields: str) -> Response:
    return desk.post(f"{HOME}/configuration", data={"do": do, **fields})


def part(desk: TestClient, **fields: str) -> Response:
    """What htmx gets when a field has changed."""
    return desk.post(f"{HOME}/configuration", data={"do": "preview", **fields}, headers=PART)


def inside(app: FastAPI) -> tuple[int, dict[str, Put]]:
    with reading(app.state.engine) as session:
        found = session.exec(select(Cryostat)).one()
        return found.revision, contents.elements(session, found, found.revision)


def held(answer: Response) -> str:
    """What the page carries for the next request."""
    found = re.search(r'name="held" value="([^"]*)"', answer.text)
    assert found
    return html.unescape(found[1])


def typed(answer: Response, name: str) -> str:
    found = re.search(rf'name="{re.escape(name)}"[^>]*value="([^"]*)"', answer.text)
    assert found, name
    return html.unescape(found[1])


def fields_of(answer: Response) -> dict[str, str]:
    """The form of the change page as a browser would send it again."""
    reader = Fields()
    reader.feed(answer.text.split('id="change"')[1].split("</form>")[0])
    return reader.found


class Fields(HTMLParser):
    """Reads what the fields of a form hold."""

    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, str] = {}
        self.at = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        about = {name: value or "" for name, value in attrs}
        name = about.get("name", "")
        if tag in ("select", "textarea"):
            self.at = name
            self.found[name] = ""
        elif tag == "option" and "selected" in about:
            self.found[self.at] = about["value"]
        elif tag == "input" and about.get("type") in ("radio", "checkbox"):
            self.found |= {name: about.get("value", "on")} if "checked" in about else {}
        elif tag == "input":
            self.found[name] = about.get("value", "")

    def handle_data(self, data: str) -> None:
        if self.at and not self.found.get(self.at) and data.strip() and self.lasttag == "textarea":
            self.found[self.at] = data.strip()


def difference_at(answer: Response, stage: str) -> str:
    """What the table of effects says of one stage."""
    table = answer.text.split('id="effects"')[1].split("</table>")[0]
    row = next(row for row in table.split("<tr>") if f">{stage}<" in row)
    return html.unescape(re.sub(r"<[^>]+>", " ", row))


def test_a_preview_shows_the_new_budget_and_stores_nothing(bench: FastAPI, desk: TestClient) -> None:
    answer = send(desk, "preview", **LOOM)
    assert answer.status_code == 200
    assert "<html" in answer.text
    assert "mK" in difference_at(answer, "platform")
    assert "Second loom" in answer.text
    assert inside(bench)[0] == 1


def test_htmx_gets_the_part_alone_through_the_same_address(desk: TestClient) -> None:
    page, swapped = send(desk, "preview", **LOOM), part(desk, **LOOM)
    assert swapped.status_code == 200
    assert swapped.text.lstrip().startswith("<section")
    assert "<html" not in swapped.text
    assert swapped.text.strip() in page.text
    assert swapped.headers["vary"] == page.headers["vary"] == "HX-Request"


def test_a_copper_loom_and_a_lid_off_are_said_before_they_are_logged(desk: TestClient) -> None:
    """Copper raises the base though it is lagged; with the lid off nobody says how far (common practice)."""
    copper = send(desk, "preview", **{**LOOM, "e.material": "copper-rrr-100"})
    assert "copper" in copper.text.split('id="preview"')[1].lower()
    off = send(
        desk,
        "preview",
        base_revision="1",
        kind="lid",
        was_key="lid",
        house="yes",
        **{"e.state": "off"},
    )
    assert "&gt;" in difference_at_raw(off, "platform")


def difference_at_raw(answer: Response, stage: str) -> str:
    table = answer.text.split('id="effects"')[1].split("</table>")[0]
    return next(row for row in table.split("<tr>") if f">{stage}<" in row)


def test_a_change_is_logged_by_a_plain_form_and_leads_to_the_new_state(
    bench: FastAPI, desk: TestClient
) -> None:
    answer = send(desk, "log", reason="More lines", done_at="2026-03-14 11:20", **LOOM)
    assert (answer.status_code, answer.headers["location"]) == (303, HOME)
    number, elements = inside(bench)
    assert (number, elements["second-loom"].label) == (2, "Second loom")
    assert elements["second-loom"].data == {key: SECOND[key] for key in elements["second-loom"].data}
    shown = desk.get(HOME)
    assert "Revision 2 logged" in shown.text
    assert "More lines" in shown.text
    with reading(bench.state.engine) as session:
        row = service.revision(session, guards.find(session, "bench-a"), 2)
        assert row.done_at.isoformat() == "2026-03-14T10:20:00+00:00", "typed in the laboratory's zone"


def test_what_is_wrong_stands_at_its_field_and_everything_typed_stays(
    bench: FastAPI, desk: TestClient
) -> None:
    bad = {**LOOM, "e.count": "0", "e.diameter_m": "thick", "note": "From the drawer", "done_at": "soon"}
    answer = send(desk, "log", **bad)
    assert answer.status_code == 422
    for name in ("reason", "done_at", "e.count", "e.diameter_m"):
        anchor = f"f-{name.replace('.', '-')}"
        assert f'href="#{anchor}"' in answer.text, name
        assert f'id="{anchor}"' in answer.text, name
    for name in ("label", "e.count", "e.diameter_m", "e.lengths_m.vessel-shield", "done_at"):
        assert typed(answer, name) == bad[name]
    assert "From the drawer" in answer.text
    assert inside(bench)[0] == 1


def test_an_element_is_put_aside_opened_left_out_and_closed(bench: FastAPI, desk: TestClient) -> None:
    aside = send(desk, "aside", **LOOM)
    assert aside.status_code == 200
    assert [row["key"] for row in json.loads(held(aside))["put"]] == ["second-loom"]
    assert "Leave out" in aside.text
    opened = send(desk, "open:second-loom", base_revision="1", held=held(aside))
    assert typed(opened, "e.count") == "24"
    assert typed(opened, "e.diameter_m") == "AWG 36"
    altered = send(
        desk,
        "aside",
        held=held(opened),
        was_key="second-loom",
        **{**LOOM, "e.count": "12"},
    )
    assert json.loads(held(altered))["put"][0]["count"] == 12
    closed = send(desk, "close", held=held(aside), **LOOM)
    assert 'name="kind"' not in closed.text
    dropped = send(desk, "drop:second-loom", base_revision="1", held=held(aside))
    assert json.loads(held(dropped)) == {"put": [], "remove": []}
    assert inside(bench)[0] == 1


def test_two_elements_are_logged_as_one_change(bench: FastAPI, desk: TestClient) -> None:
    aside = send(desk, "aside", **LOOM)
    lamp = {"kind": "source", "label": "Lamp", "e.power_W": "2 mW", "e.what": "lamp"}
    answer = send(desk, "log", base_revision="1", held=held(aside), reason="Both", **lamp)
    assert answer.status_code == 303
    number, elements = inside(bench)
    assert number == 2
    assert {"second-loom", "lamp"} <= set(elements)


@pytest.mark.parametrize(
    ("typed_in", "field"),
    [
        ({"e.count": "0"}, "e.count"),
        ({"e.diameter_m": "2 m"}, "e.diameter_m"),
        ({"label": ""}, "label"),
        ({"key": "No Key"}, "key"),
        ({"label": "Loom"}, "key"),
        ({"note": "x" * 2001}, "note"),
        ({"e.lags.shield.length_m": "9 m"}, "e.lags.shield.length_m"),
        ({"label": "x" * 81}, "label"),
    ],
)
def test_what_cannot_stay_is_not_put_aside(desk: TestClient, typed_in: dict[str, str], field: str) -> None:
    answer = send(desk, "aside", **{**LOOM, **typed_in})
    assert answer.status_code == 422
    anchor = f"f-{field.replace('.', '-')}"
    assert f'href="#{anchor}"' in answer.text
    assert re.search(rf'id="{anchor}"[^>]*aria-invalid="true"', answer.text)
    assert json.loads(held(answer))["put"] == []


def test_a_new_element_never_takes_the_key_of_another(bench: FastAPI, desk: TestClient) -> None:
    aside = send(desk, "aside", **LOOM)
    for label in ("Second loom", "Loom"):
        answer = send(desk, "log", **{**LOOM, "label": label}, held=held(aside), reason="Again")
        assert answer.status_code == 422
        assert "There is “" in answer.text
    assert inside(bench)[0] == 1


def test_a_new_form_tells_no_faults_before_anything_is_typed(desk: TestClient) -> None:
    for answer in (
        desk.get(f"{HOME}/change", params={"kind": "wire"}),
        send(desk, "kind:coax", base_revision="1"),
    ):
        assert answer.status_code == 200
        assert "field-error" not in answer.text
        assert "To mend" not in answer.text


def test_a_stale_page_keeps_what_was_typed_and_shows_the_others_change(
    bench: FastAPI, desk: TestClient, member: Person
) -> None:
    give_grade(bench.state.engine, "bench-a", member, 3)
    aside = send(desk, "aside", **LOOM)
    with writing(bench.state.engine) as session:
        wanted = change(1, wire(count=12), wire("jorys"), reason="Quick fix")
        service.log_change(session, member, "bench-a", wanted, AT)
        session.commit()
    lamp = {"kind": "source", "label": "Lamp", "e.power_W": "2 mW"}
    answer = send(desk, "log", base_revision="1", held=held(aside), reason="Mine", **lamp)
    assert answer.status_code == 409
    for words in ("Revision 2", "Ben Member", "Quick fix", "jorys", "24 → 12", "Second loom"):
        assert words in html.unescape(answer.text), words
    assert (typed(answer, "label"), typed(answer, "e.power_W")) == ("Lamp", "2 mW")
    assert "Mine" in answer.text
    assert typed(answer, "base_revision") == "2"
    again = send(
        desk, "log", base_revision=typed(answer, "base_revision"), held=held(answer), reason="Mine", **lamp
    )
    assert again.status_code == 303
    assert inside(bench)[0] == 3


def test_on_top_of_anothers_change_goes_only_what_was_touched(
    bench: FastAPI, desk: TestClient, member: Person
) -> None:
    give_grade(bench.state.engine, "bench-a", member, 3)
    page = desk.get(f"{HOME}/change?alter=loom")
    form = fields_of(page) | {"e.count": "30", "e.diameter_m": "AWG 32", "reason": "Mine"}
    with writing(bench.state.engine) as session:
        theirs = wire(count=12, ends_on="mount", note="moved")
        service.log_change(session, member, "bench-a", change(1, theirs), AT)
        session.commit()
    stale = send(desk, "log", **form)
    assert stale.status_code == 409
    assert "Both of you touched this" in stale.text
    assert "how many: 12 → 30" in html.unescape(re.sub(r"\s+", " ", stale.text))
    assert (typed(stale, "e.count"), typed(stale, "e.diameter_m")) == ("30", "AWG 32")
    assert inside(bench)[0] == 2
    assert send(desk, "log", **fields_of(stale)).status_code == 303
    loom = inside(bench)[1]["loom"]
    assert (loom.data["count"], loom.data["ends_on"], loom.note) == (30, "mount", "moved")
    assert loom.data["diameter_m"] == pytest.approx(0.2019e-3, rel=1e-3)


def test_what_is_put_aside_is_merged_as_well(bench: FastAPI, desk: TestClient, steward: Person) -> None:
    mine = json.dumps({"put": [{**wire(count=30), "label": "", "note": ""}], "remove": []})
    with writing(bench.state.engine) as session:
        logged(session, steward, guards.find(session, "bench-a"), wire(ends_on="mount"))
        session.commit()
    stale = send(desk, "log", base_revision="1", held=mine, reason="More")
    assert stale.status_code == 409
    assert "Both of you" not in stale.text
    assert send(desk, "log", base_revision="2", held=held(stale), reason="More").status_code == 303
    loom = inside(bench)[1]["loom"].data
    assert (loom["count"], loom["ends_on"]) == (30, "mount")


def test_what_another_took_out_first_can_be_left_out(
    bench: FastAPI, desk: TestClient, steward: Person
) -> None:
    with writing(bench.state.engine) as session:
        logged(session, steward, guards.find(session, "bench-a"), remove=["loom"])
        session.commit()
    mine = json.dumps({"put": [], "remove": ["loom"]})
    stale = send(desk, "log", base_revision="1", held=mine, reason="Out")
    assert stale.status_code == 409
    assert 'value="drop:loom"' in stale.text
    answer = send(desk, "drop:loom", base_revision="2", held=held(stale))
    assert json.loads(held(answer))["remove"] == []


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "null",
        "[]",
        '{"put": 3, "remove": []}',
        '{"put": ["x"], "remove": []}',
        '{"put": [{"key": "\\ud800"}], "remove": []}',
        "[" * 50_000,
        '{"put": [{"key": "x", "kind": "wire", "count": NaN}], "remove": []}',
        '{"put": [{"key": "x", "kind": 3, "label": []}], "remove": [4]}',
    ],
)
def test_what_was_put_aside_and_came_back_broken_is_told(bench: FastAPI, desk: TestClient, text: str) -> None:
    for do in ("preview", "log"):
        answer = send(desk, do, base_revision="1", held=text, reason="Because")
        assert answer.status_code == 422
    assert inside(bench)[0] == 1


@pytest.mark.parametrize("moment", ["0001-01-01 00:00", "9999-12-31 23:59", "2026-02-30 10:00", "yesterday"])
def test_a_time_nobody_can_mean_is_told_at_its_field(desk: TestClient, moment: str) -> None:
    answer = send(desk, "log", reason="Because", done_at=moment, **LOOM)
    assert answer.status_code == 422
    assert 'href="#f-done_at"' in answer.text


def test_who_may_only_watch_is_refused_every_step(bench: FastAPI, sign_in: SignsIn, member: Person) -> None:
    theirs = sign_in(member)
    for grade in (0, 1):
        give_grade(bench.state.engine, "bench-a", member, grade)
        assert theirs.get(f"{HOME}/change").status_code == 403
        for do in ("preview", "aside", "log"):
            assert send(theirs, do, reason="Mine", **LOOM).status_code == 403
        restore = theirs.post(f"{HOME}/revisions/0/restore", data={"base_revision": "1", "reason": "Back"})
        assert restore.status_code == 403
    assert inside(bench)[0] == 1


def test_who_may_open_may_not_rewire(bench: FastAPI, sign_in: SignsIn, member: Person) -> None:
    give_grade(bench.state.engine, "bench-a", member, 2)
    theirs = sign_in(member)
    assert send(theirs, "preview", **LOOM).status_code == 200
    assert send(theirs, "log", reason="Mine", **LOOM).status_code == 403
    off = {"base_revision": "1", "kind": "lid", "was_key": "lid", "house": "yes", "e.state": "off"}
    assert send(theirs, "log", reason="Looked inside", **off).status_code == 303
    assert inside(bench)[1]["lid"].data["state"] == "off"


def test_nobody_who_is_not_signed_in_sees_or_does_anything(bench: FastAPI, client: TestClient) -> None:
    assert client.get(f"{HOME}/change").headers["location"].startswith("/sign-in")
    assert client.post(f"{HOME}/configuration", data={"do": "log", **LOOM}).status_code == 401
    assert inside(bench)[0] == 1


def test_a_page_of_another_site_cannot_log(bench: FastAPI, desk: TestClient) -> None:
    answer = desk.post(
        f"{HOME}/configuration",
        data={"do": "log", "reason": "x", **LOOM},
        headers={"Sec-Fetch-Site": "cross-site"},
    )
    assert answer.status_code == 403
    assert inside(bench)[0] == 1


@pytest.mark.parametrize(
    ("code", "kind", "fields"),
    [
        ("S04", "window", {}),
        ("S08", "source", {"e.what": "laser"}),
        ("S09", "source", {"e.what": "positioner"}),
        ("S12", "wire", {}),
        ("S11", "wire", {"e.lags.shield.filler": "varnish", "e.lags.shield.state": "good"}),
        ("S10", "coax", {"e.material": "beryllium-copper"}),
    ],
    ids=["window", "laser", "high voltage", "solder", "varnish", "beryllium-copper"],
)
def test_the_caution_stands_beside_the_form_of_what_can_hurt(
    desk: TestClient, code: str, kind: str, fields: dict[str, str]
) -> None:
    """Cards and their moments after section 9 of the trade's notes (common practice)."""
    from server.cautions.cards import CARDS

    title = next(card.title for card in CARDS if card.code == code)
    answer = send(desk, "preview", base_revision="1", kind=kind, label="It", **fields)
    cautions = answer.text.split('class="cautions"')[1].split("</aside>")[0]
    assert title in html.unescape(cautions)
    assert "local" in cautions.lower(), "it defers to local rules"


def test_no_caution_stands_where_none_belongs(desk: TestClient) -> None:
    answer = desk.get(f"{HOME}/change", params={"kind": "mass"})
    assert 'class="cautions"' not in answer.text


def test_every_kind_has_a_form_that_opens_previews_and_logs(bench: FastAPI, desk: TestClient) -> None:
    from server.physics import thermal

    for number, kind in enumerate(thermal.KINDS, 1):
        opened = desk.get(f"{HOME}/change", params={"kind": kind})
        assert opened.status_code == 200, kind
        fields = {"kind": kind, "label": f"New {kind}", "base_revision": str(number)}
        assert part(desk, **fields).status_code == 200, kind
        answer = send(desk, "log", reason=f"A {kind}", **fields)
        assert answer.status_code == 303, kind
        shown = desk.get(HOME)
        assert f"New {kind}" in shown.text
        alter = desk.get(f"{HOME}/change", params={"alter": f"new-{kind}"})
        assert typed(alter, "was_key") == f"new-{kind}"
    assert inside(bench)[0] == 1 + len(thermal.KINDS)


def test_a_lid_is_never_taken_out_but_altered(desk: TestClient) -> None:
    """A lid is on or off, never implied: common practice, no source."""
    page = desk.get("/cryostats/bench-a/change?take=lid").text
    assert 'name="was_key" value="lid"' in page


@pytest.mark.parametrize("base", ["", "²", "1e3", "99999999999"])
def test_a_change_that_does_not_say_its_base_is_not_logged_over_another(desk: TestClient, base: str) -> None:
    answer = send(desk, "log", base_revision=base, reason="Loom out", held='{"put": [], "remove": ["loom"]}')
    assert answer.status_code in (409, 422)
    assert "loom" in desk.get("/cryostats/bench-a").text


def test_a_state_of_the_year_one_is_refused(desk: TestClient) -> None:
    answer = desk.post("/cryostats/bench-a/state", data={"state": "cold", "since": "0001-01-01T00:00+00:00"})
    assert answer.status_code == 422
    assert desk.get("/cryostats").status_code == 200


@pytest.mark.parametrize("address", ["/people/99999999999999999999", "/drafts/99999999999999999999"])
def test_a_number_no_key_can_be_is_not_found(desk: TestClient, address: str) -> None:
    assert desk.get(address).status_code == 404


def test_a_best_value_keeps_its_range_through_the_form(
    bench: FastAPI, desk: TestClient, steward: Person
) -> None:
    best = {"low": 0.2, "best": 0.25, "high": 0.3}
    with writing(bench.state.engine) as session:
        bands = wire(lengths_m={"vessel-shield": best, "shield-platform": [0.1, 0.2]})
        logged(session, steward, guards.find(session, "bench-a"), bands)
        session.commit()
    page = desk.get(f"{HOME}/change?alter=loom")
    assert typed(page, "e.lengths_m.vessel-shield") == "250 mm (200–300)"
    form = fields_of(page) | {"e.count": "30", "reason": "More"}
    assert send(desk, "log", **form).status_code == 303
    lengths = inside(bench)[1]["loom"].data["lengths_m"]
    assert lengths == {"vessel-shield": best, "shield-platform": [0.1, 0.2]}


def test_a_lid_cannot_be_taken_out_by_a_form_either(bench: FastAPI, desk: TestClient) -> None:
    answer = send(desk, "log", base_revision="1", held='{"put": [], "remove": ["lid"]}', reason="Off")
    assert answer.status_code == 422
    assert "which is not taken out but altered" in answer.text
    assert inside(bench)[0] == 1
    assert typed(send(desk, "take:lid", base_revision="1"), "was_key") == "lid"
    shown = desk.get(HOME).text
    assert "?take=loom" in shown
    assert "?take=lid" not in shown
