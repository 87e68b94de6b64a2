"""What was in it on that day: the page, the text, the table, the archive; a constant number of queries."""

import io
import math
import zipfile
from datetime import timedelta

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image

from server.cooldowns import service as cooldowns
from server.cooldowns.diagnosis_rules import SIGMAS
from server.cryostats import guards
from server.db import reading, writing
from server.faults import service as faults
from server.openings import service as openings
from server.people.models import Person
from server.record import rules, views
from server.record.rules import Section
from tests.cooldowns.telling import BEGUN, HOUR, whole, wrote
from tests.factories import a_bench, lid, logged, token_of, wire
from tests.openings.telling import whole as opened_slip

ZONE = "Europe/Vienna"
ASK = {"cryostat": "bench-a", "day": "2026-03-16"}
BASE = {"shield_K": 32.1, "platform_K": 3.31, "sample_K": 3.51, "heater": "off", "settled": "yes"}


@pytest.fixture
def kept(app: FastAPI, steward: Person) -> FastAPI:
    """A cooldown of Bench A with a fault seen that day."""
    a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"), cooler=True)
    with writing(app.state.engine) as session:
        bench = guards.find(session, "bench-a")
        whole(session, steward, bench, base=BASE)
        faults.report(session, steward, bench.id, "Gauge jumps a decade", "", BEGUN + 3 * HOUR)
        session.commit()
    return app


@pytest.mark.usefixtures("kept")
def test_one_page_tells_what_was_inside_that_day(steward_client: TestClient) -> None:
    page = steward_client.get("/record", params=ASK)
    assert page.status_code == 200
    for words in (
        "Loom",
        "Lid",
        "3.31 K",
        "+200 mK",
        "both thermometers",
        "Gauge jumps a decade",
        "Ada Steward",
    ):
        assert words in page.text
    by_number = steward_client.get("/record", params={"cryostat": "bench-a", "cooldown": "1"}).text
    assert "Bench A, cooldown 1" in by_number


@pytest.mark.usefixtures("kept")
def test_text_table_and_archive_carry_the_same_reference(steward_client: TestClient) -> None:
    sent = {"caption": "Round the mount", "kind": "photograph"}
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(picture, "PNG")
    files = {"files": ("mount.png", picture.getvalue(), "image/png")}
    assert (
        steward_client.post("/cryostats/bench-a/cooldowns/1/photographs", data=sent, files=files).status_code
        == 303
    )
    text = steward_client.get("/record/text", params=ASK)
    reference = text.text.splitlines()[1].removeprefix("Reference: ")
    assert reference.startswith("bench-a-2026-03-16-revision-1-cooldown-1-")
    assert f'filename="{reference}.txt"' in text.headers["content-disposition"]
    assert reference in steward_client.get("/record", params=ASK).text
    table = steward_client.get("/record/table", params=ASK)
    assert "Configuration,1,Element,Loom" in table.text
    archive = zipfile.ZipFile(io.BytesIO(steward_client.get("/record/archive", params=ASK).content))
    assert archive.read("record.txt").decode() == text.text
    [image] = [name for name in archive.namelist() if name.startswith("images/")]
    assert Image.open(io.BytesIO(archive.read(image))).size == (40, 30)


def test_a_later_edit_stands_beside_and_changes_the_reference(kept: FastAPI, steward: Person) -> None:
    def told() -> views.Record:
        with reading(kept.state.engine) as session:
            return views.of_cooldown(session, guards.find(session, "bench-a"), 1, ZONE)

    before = told()
    assert told().reference == before.reference
    with writing(kept.state.engine) as session:
        sheet = cooldowns.find(session, guards.find(session, "bench-a"), 1)
        later = BEGUN + timedelta(days=9)
        entry = next(row for row in sheet.entries if row.kind == "base")
        assert entry.id is not None
        cooldowns.take_back(session, steward, "bench-a", 1, entry.id, "Wrong curve", later)
        session.commit()
    after = told()
    assert after.reference != before.reference
    book = next(section for section in after.sections if section.title.startswith("The book"))
    assert any("afterwards" in row[-1] for row in book.rows)
    assert any("taken back" in row for row in book.rows)


def test_the_number_of_queries_does_not_grow(kept: FastAPI, steward: Person) -> None:
    def queries() -> int:
        seen: list[str] = []
        engine = kept.state.engine

        def note(*args: object) -> None:
            seen.append(str(args[2]))

        with reading(engine) as session:
            bench = guards.find(session, "bench-a")
            sa.event.listen(engine, "before_cursor_execute", note)
            views.of_cooldown(session, bench, 1, ZONE)
            sa.event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    before = queries()
    with writing(kept.state.engine) as session:
        bench = guards.find(session, "bench-a")
        sheet = cooldowns.find(session, bench, 1)
        for hour in range(5, 12):
            wrote(session, steward, sheet, "remark", {}, BEGUN + hour * HOUR, "Quiet")
            faults.report(session, steward, bench.id, "Ticks", "", BEGUN + 2 * HOUR)
        logged(session, steward, bench, wire("more"), wire("again"))
        session.commit()
    assert queries() == before
    assert before < 30


BAD = [
    {"cryostat": "bench-a"},
    {"cryostat": "bench-a", "day": "14 March"},
    {"cryostat": "bench-a", "day": "9999-12-31"},
    {"cryostat": "bench-a", "day": "0001-01-01"},
    {"cryostat": "bench-a", "cooldown": "-½"},
]


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize("asked", BAD)
def test_what_cannot_be_asked_is_said_at_its_field(steward_client: TestClient, asked: dict[str, str]) -> None:
    assert steward_client.get("/record", params=asked).status_code == 422
    assert steward_client.get("/record/text", params=asked).status_code == 422


@pytest.mark.usefixtures("kept")
def test_what_is_not_there_is_not_found_and_nobody_reads_without_an_account(
    steward_client: TestClient, client: TestClient
) -> None:
    assert (
        steward_client.get("/record", params={"cryostat": "nowhere", "day": "2026-03-16"}).status_code == 404
    )
    assert (
        steward_client.get("/record", params={"cryostat": "bench-a", "cooldown": "99999999"}).status_code
        == 404
    )
    assert steward_client.get("/record").status_code == 200
    assert client.get("/record", params=ASK, follow_redirects=False).status_code in (303, 401)


def test_the_openings_before_it_stand_in_it_with_what_was_taken_back(kept: FastAPI, steward: Person) -> None:
    with writing(kept.state.engine) as session:
        bench = guards.find(session, "bench-a")
        after = BEGUN + timedelta(days=3)
        number = opened_slip(session, steward, bench, after)
        slip = openings.find(session, bench, number)
        ring = next(entry for entry in slip.entries if entry.kind == "ring")
        whole(session, steward, bench, after + timedelta(days=1))
        openings.take_back(
            session, steward, "bench-a", number, ring.id or 0, "Not this ring", after + timedelta(days=30)
        )
        session.commit()
    with reading(kept.state.engine) as session:
        bench = guards.find(session, "bench-a")
        first, second = (views.of_cooldown(session, bench, number, ZONE) for number in (1, 2))
    assert _table(first, "Openings since the cooldown before").rows == ()
    rows = _table(second, "Openings since the cooldown before").rows
    assert rows[0][:4] == (f"Opening {number}", "Begun", "Sample", "Ada Steward")
    [greased] = [row for row in rows if "greased" in row[2]]
    assert greased[-1] == "taken back"
    [why] = [row for row in rows if "Not this ring" in row[2]]
    assert why[-1] == "afterwards"


def _table(record: views.Record, title: str) -> Section:
    return next(section for section in record.sections if section.title == title)


def test_programs_read_the_same_record(kept: FastAPI, steward: Person, client: TestClient) -> None:
    address = "/api/v1/cryostats/bench-a/record"
    assert client.get(address, params={"cooldown": 1}).status_code == 401
    headers = {"Authorization": f"Bearer {token_of(kept.state.engine, steward)}"}
    told = client.get(address, params={"cooldown": 1}, headers=headers).json()
    with reading(kept.state.engine) as session:
        page = views.of_cooldown(session, guards.find(session, "bench-a"), 1, ZONE)
    assert told["reference"] == page.reference
    assert [table["title"] for table in told["tables"]] == [section.title for section in page.sections]
    [estimate] = next(table["rows"] for table in told["tables"] if table["title"] == "Sample above platform")
    assert estimate["Sample minus platform"].startswith("+200 mK")
    day = client.get(address, params={"day": "2026-03-16"}, headers=headers).json()
    assert day["revision"] == 1
    at = client.get(address, params={"at": "2026-03-16T14:00:00+01:00"}, headers=headers).json()
    assert at["at"] == "2026-03-16T13:00:00Z"
    before = client.get(address, params={"at": "2026-01-01T00:00:00Z"}, headers=headers).json()
    assert (before["revision"], before["images"]) == (0, [])


WRONG = [
    {},
    {"day": "2026-03-16", "cooldown": "1"},
    {"day": "9999-12-31"},
    {"day": "0001-01-01"},
    {"at": "9999-12-31T23:59:59Z"},
    {"at": "2026-03-16T14:00:00"},
    {"cooldown": "99999999999999999999"},
    {"day": "\x00"},
]


@pytest.mark.parametrize("asked", WRONG)
def test_a_program_is_told_what_cannot_be_asked(
    kept: FastAPI, steward: Person, client: TestClient, asked: dict[str, str]
) -> None:
    headers = {"Authorization": f"Bearer {token_of(kept.state.engine, steward)}"}
    answer = client.get("/api/v1/cryostats/bench-a/record", params=asked, headers=headers)
    assert answer.status_code == 422
    assert answer.json()["fields"]


def test_the_band_of_two_thermometers_holds_their_scatter_in_quadrature() -> None:
    """Worked by hand: 1.959964 times the root of 20² + 10² in millikelvin is 43.8 mK."""
    assert 1000 * rules.NORMAL_95 * math.hypot(SIGMAS["sample"], SIGMAS["platform"]) == pytest.approx(
        43.83, abs=0.01
    )
    told = rules.estimate({"sample": 3.51, "platform": 3.31}, {})
    assert told is not None
    assert told.size == "+200 mK (+150 … +250)"
    assert "both thermometers" in told.how
