"""Pages and API of checklists, without scripts, with htmx, and as a program goes through them."""

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.people.models import Person
from tests.factories import a_bench, give_grade, lid, token_of, wire

HTMX = {"HX-Request": "true", "HX-Request-Type": "partial"}
HOME = "/cryostats/bench-a/checklists"


@pytest.fixture
def bench(app: FastAPI, steward: Person, member: Person) -> str:
    """A bench with a loom and a lid; Ben opens it."""
    slug = a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"))
    give_grade(app.state.engine, slug, member, 2)
    return slug


@pytest.fixture
def sheet(bench: str, member_client: TestClient) -> str:
    """The address of a list before closing, begun by Ben."""
    assert bench == "bench-a"
    answer = member_client.post(HOME, data={"list": "before-closing", "about": "Opening 7"})
    assert answer.status_code == 303
    return answer.headers["location"]


def test_without_scripts_a_line_is_kept_and_the_page_comes_back_to_it(
    sheet: str, member_client: TestClient
) -> None:
    answer = member_client.post(f"{sheet}/answers", data={"line": "hands", "outcome": "done"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{sheet}#line-1")
    assert "1 of" in member_client.get(sheet).text


def test_with_htmx_the_line_alone_comes_back_with_where_all_of_it_stands(
    sheet: str, member_client: TestClient
) -> None:
    sent = {"line": "lags/loom/shield", "outcome": "failed", "words": "Slips out"}
    answer = member_client.post(f"{sheet}/answers", data=sent, headers=HTMX)
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert '<a href="/faults/1">Fault 1</a>' in answer.text
    assert "1 not right" in answer.text
    assert answer.text.count("<li ") == 1
    part = member_client.get(f"{sheet}/part", headers=HTMX).text
    assert "not all right" in part
    assert "Slips out" in member_client.get("/faults/1").text


@pytest.mark.parametrize("headers", [{}, HTMX])
def test_what_is_to_be_mended_stands_at_its_line_with_what_was_typed(
    sheet: str, member_client: TestClient, headers: dict[str, str]
) -> None:
    sent = {"line": "tray", "outcome": "done", "n": "11", "of": "12"}
    answer = member_client.post(f"{sheet}/answers", data=sent, headers=headers)
    assert answer.status_code == 422
    assert "11 of 12 is not all" in answer.text
    assert 'value="11"' in answer.text


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"line": "no-such", "outcome": "done"}, 404),
        ({}, 404),
        ({"line": "hands", "outcome": "perhaps"}, 422),
        ({"line": "hands", "outcome": "skipped", "words": "no"}, 422),
        ({"line": "sample", "outcome": "done", "text": "x" * 1001}, 422),
    ],
)
def test_nonsense_is_refused(
    sheet: str, member_client: TestClient, sent: dict[str, str], status: int
) -> None:
    assert member_client.post(f"{sheet}/answers", data=sent).status_code == status


def test_whoever_may_not_open_reads_and_does_not_answer(
    app: FastAPI, member: Person, member_client: TestClient, sheet: str
) -> None:
    give_grade(app.state.engine, "bench-a", member, 1)
    page = member_client.get(sheet)
    assert "needs grade 2" in page.text
    assert 'name="outcome"' not in page.text
    assert (
        member_client.post(f"{sheet}/answers", data={"line": "hands", "outcome": "done"}).status_code == 403
    )
    assert member_client.post(HOME, data={"list": "before-closing"}).status_code == 403


@pytest.mark.usefixtures("sheet")
def test_the_steward_words_a_list_and_the_first_version_stays_to_be_read(
    steward_client: TestClient, member_client: TestClient
) -> None:
    lines = {
        "lines.0.key": "tray",
        "lines.0.text": "Count the tray",
        "lines.0.why": "A washer",
        "lines.0.record": "count",
        "lines.0.of": "12",
        "lines.0.place": "2",
        "lines.1.text": "Torque of the lid",
        "lines.1.why": "It is thin",
        "lines.1.record": "torque",
        "lines.1.stated": "5 in·lbf",
        "lines.1.thread": "M3",
        "lines.1.cautions": "S04",
        "lines.1.place": "1",
    }
    sent = {**lines, "after": "1", "reason": "Shorter here"}
    assert member_client.post(f"{HOME}/before-closing", data=sent).status_code == 403
    assert steward_client.post(f"{HOME}/before-closing", data=sent).status_code == 303
    page = member_client.get(f"{HOME}/before-closing").text
    assert page.index("Torque of the lid") < page.index("Count the tray")
    assert "Fresh gloves" in member_client.get(f"{HOME}/before-closing?version=1").text
    assert steward_client.post(f"{HOME}/before-closing", data=sent).status_code == 409
    bad = {**sent, "after": "2", "lines.1.stated": "5", "lines.0.record": "song"}
    refused = steward_client.post(f"{HOME}/before-closing", data=bad)
    assert refused.status_code == 422
    assert "Add the unit" in refused.text
    assert "Choose what is written down" in refused.text


def test_a_sheet_of_paper_has_a_box_a_line_and_every_caution(sheet: str, member_client: TestClient) -> None:
    for path in (f"{HOME}/before-warming/paper", f"{sheet}/paper"):
        page = member_client.get(path).text
        assert page.count("paper-box") == page.count("paper-line") > 10
        assert "your safety officer decide" in page
    blank = member_client.get(f"{HOME}/before-warming/paper").text
    assert "Read the mass before lifting" in " ".join(blank.split())
    assert blank.count("displaces air has no smell") == 1


@pytest.mark.usefixtures("sheet")
@pytest.mark.parametrize(
    "path",
    ["/checklists/9", "/checklists/99999999999999999999", f"{HOME}/before-lunch", f"{HOME}/no/paper"],
)
def test_what_is_not_there_is_404(member_client: TestClient, path: str) -> None:
    assert member_client.get(path).status_code == 404


def test_no_page_says_that_anything_is_safe(sheet: str, member_client: TestClient) -> None:
    for path in (sheet, f"{sheet}/paper", HOME, f"{HOME}/before-warming", f"{HOME}/before-warming/paper"):
        text = member_client.get(path).text.lower().replace("safety officer", "")
        assert "safe" not in text, path


@pytest.mark.usefixtures("bench")
def test_a_program_begins_answers_and_reads_one(app: FastAPI, client: TestClient, member: Person) -> None:
    head = {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}
    api = "/api/v1"
    lists = client.get(f"{api}{HOME}", headers=head).json()
    assert [row["version"] for row in lists["lists"]] == [1] * 5
    made = client.post(f"{api}{HOME}", json={"list_key": "before-cooling"}, headers=head)
    assert made.status_code == 201
    assert made.json()["standing"]["gate_open"] is False
    sent = {"line": "pressure", "outcome": "done", "value": 0.4}
    assert client.post(f"{api}/checklists/1/answers", json=sent, headers=head).status_code == 201
    found = client.get(f"{api}/checklists/1", headers=head).json()
    assert found["standing"]["gate_open"] is True
    [line] = [row for row in found["lines"] if row["key"] == "pressure"]
    assert (line["answer"]["record"], line["answer"]["by"]) == ({"value": 0.4}, "Ben Member")
    for bad in ({"line": "pressure", "outcome": "done"}, {"line": "hours", "outcome": "x"}):
        assert client.post(f"{api}/checklists/1/answers", json=bad, headers=head).status_code == 422
    nul = {"line": "water", "outcome": "done", "text": "nul \x00"}
    refused = client.post(f"{api}/checklists/1/answers", json=nul, headers=head)
    assert [row["field"] for row in refused.json()["fields"]] == ["text"]
    assert client.get(f"{api}/checklists/1").status_code == 401


def test_the_pages_ask_the_database_as_often_for_many_as_for_one(
    app: FastAPI, sheet: str, member_client: TestClient
) -> None:
    counted: list[str] = []
    sa.event.listen(app.state.engine, "before_cursor_execute", lambda *sent: counted.append(sent[2]))

    def queries(path: str) -> int:
        counted.clear()
        assert member_client.get(path, headers=HTMX).status_code == 200
        return len(counted)

    before = [queries(path) for path in (HOME, sheet, f"{sheet}/part")]
    for number in range(8):
        member_client.post(HOME, data={"list": "before-closing", "about": str(number)})
    for line in ("hands", "coax", "left-behind", "paper-gap", "trapped"):
        member_client.post(f"{sheet}/answers", data={"line": line, "outcome": "done"})
    assert [queries(path) for path in (HOME, sheet, f"{sheet}/part")] == before
