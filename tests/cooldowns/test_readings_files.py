"""Log files through the pages: sent, described, looked at, taken in by steps; and what changes nothing."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from server.cooldowns import readings, readings_files
from server.cooldowns.channels_models import Channel
from server.cooldowns.readings_models import LogHeader, LogUpload, ReadingBlock
from server.cryostats import guards
from server.db import reading, writing
from server.people.models import Person
from tests.cooldowns.bench import PLATFORM, SHIELD, a_channel
from tests.factories import a_bench, give_grade
from tests.fixtures.people import make_person

LOG = """time;Shield [K];Platform [K]
14.03.2026 12:00:00;31,25;3,2005
14.03.2026 12:01:00;31,50;---
14.03.2026 12:02:00;31,75;3,2015
"""
DAY = (datetime(2026, 3, 14, tzinfo=UTC), datetime(2026, 3, 15, tzinfo=UTC))


@pytest.fixture
def slug(app: FastAPI, steward: Person, member: Person) -> str:
    """A cryostat with two channels that Ben may operate."""
    found = a_bench(app.state.engine, steward)
    with writing(app.state.engine) as session:
        cryostat = guards.find(session, found)
        for wanted in (PLATFORM, SHIELD):
            a_channel(session, steward, cryostat, wanted)
        session.commit()
    give_grade(app.state.engine, found, member, 1)
    return found


def send(client: TestClient, slug: str, text: str = LOG, name: str = "night.csv") -> str:
    answer = client.post(
        f"/cryostats/{slug}/readings/files", files={"file": (name, text.encode(), "text/csv")}
    )
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def described(**more: str) -> dict[str, str]:
    spec = {"column.0": "stamp", "column.1": "channel:2", "column.2": "channel:1"}
    return (
        spec
        | {"unit.0": "", "unit.1": "K", "unit.2": "K", "zone": "laboratory", "order": "", "start": ""}
        | more
    )


def stored(app: FastAPI, slug: str, name: str = "Shield") -> list[float]:
    with reading(app.state.engine) as session:
        cryostat = guards.find(session, slug)
        return [float(value) for value in readings.series(session, cryostat.id or 0, name, *DAY)[1]]


def test_a_file_is_looked_at_before_anything_is_taken_in_and_then_all_of_it_is(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    here = send(member_client, slug)
    page = member_client.get(here).text
    assert "semicolon, with a decimal comma" in page
    assert "5 new, 1 gap left out" in page
    assert stored(app, slug) == []
    assert member_client.post(here, data=described(do="take")).status_code == 303
    assert stored(app, slug) == [31.25, 31.5, 31.75]
    assert stored(app, slug, "Platform") == [3.2005, 3.2015]
    assert "All of it is taken in" in member_client.get(here).text
    assert "night.csv" in member_client.get(f"/cryostats/{slug}/readings").text


def test_the_same_file_again_brings_nothing_new(app: FastAPI, member_client: TestClient, slug: str) -> None:
    for _ in range(2):
        here = send(member_client, slug)
        member_client.post(here, data=described(do="take"))
    with reading(app.state.engine) as session:
        first, second = session.exec(select(LogUpload).order_by("id")).all()
        assert (first.stored, second.stored) == (5, 0)
        assert len(session.exec(select(LogHeader)).all()) == 1
    assert stored(app, slug) == [31.25, 31.5, 31.75]


def test_how_a_head_was_read_is_remembered_for_this_cryostat(member_client: TestClient, slug: str) -> None:
    strange = LOG.replace("Shield", "A7").replace("Platform", "B2")
    here = send(member_client, slug, strange)
    assert "Say of at least one column" in member_client.get(here).text
    member_client.post(here, data=described(do="take", zone="utc"))
    again = send(member_client, slug, strange.replace("14.03.", "15.03."), "next.csv")
    page = member_client.get(again).text
    assert '<option value="channel:2" selected>' in page
    assert '<option value="utc" selected>' in page
    assert "5 new" in page


def test_values_that_differ_need_a_reason(app: FastAPI, member_client: TestClient, slug: str) -> None:
    member_client.post(send(member_client, slug), data=described(do="take"))
    here = send(member_client, slug, LOG.replace("31,50", "99,9"))
    assert "At 1 moment there is another value already" in member_client.get(here).text
    answer = member_client.post(here, data=described(do="take"))
    assert answer.status_code == 422
    assert 'id="f-superseding-error"' in answer.text
    assert stored(app, slug) == [31.25, 31.5, 31.75]
    why = described(do="take", superseding="a wrong curve was loaded")
    assert member_client.post(here, data=why).status_code == 303
    assert stored(app, slug) == [31.25, 99.9, 31.75]
    assert "a wrong curve was loaded" in member_client.get(f"/cryostats/{slug}/history").text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "The file is empty"),
        ("a letter\nto somebody\n", "No separator"),
        (LOG + "14.03.2026 12:03:00;31\n14.03.2026 12:04:00;31;3,2\n", "This line has 2 cells"),
        (LOG + "\x00", "no text"),
    ],
)
def test_what_is_no_log_is_refused_with_its_line(
    member_client: TestClient, slug: str, text: str, words: str
) -> None:
    files = {"file": ("bad.csv", text.encode(), "text/csv")}
    answer = member_client.post(f"/cryostats/{slug}/readings/files", files=files)
    assert answer.status_code == 422
    assert words in answer.text


def test_a_bad_cell_is_named_by_line_and_column_and_the_file_changes_nothing(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    here = send(member_client, slug, LOG.replace("31,75", "warm"))
    page = member_client.get(here).text
    assert "“warm” is no number" in page
    assert ">4</td>" in page
    answer = member_client.post(here, data=described(do="take"))
    assert answer.status_code == 422
    with reading(app.state.engine) as session:
        assert session.exec(select(ReadingBlock)).all() == []
        assert session.exec(select(LogHeader)).all() == []


def test_a_time_that_lies_ahead_is_said_and_nothing_is_taken_in(
    app: FastAPI, member_client: TestClient, slug: str
) -> None:
    here = send(member_client, slug, LOG.replace("2026", "2126"))
    assert "lies ahead" in member_client.get(here).text
    assert member_client.post(here, data=described(do="take")).status_code == 422
    assert stored(app, slug) == []


def test_a_large_file_goes_on_step_by_step_and_a_step_asked_for_twice_stores_nothing_twice(
    app: FastAPI, member_client: TestClient, slug: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings_files, "CELLS_AT_ONCE", 4)
    here = send(member_client, slug)
    member_client.post(here, data=described(do="take"))
    assert stored(app, slug) == [31.25, 31.5]
    page = member_client.get(here).text
    assert "step?after=2" in page
    assert "67 % taken in" in page
    part = member_client.post(f"{here}/step?after=2", headers={"HX-Request": "true"}).text
    assert "All of it is taken in" in part
    assert "<html" not in part
    assert "hx-post" not in part
    assert member_client.post(f"{here}/step?after=2").status_code == 303
    assert stored(app, slug) == [31.25, 31.5, 31.75]


def test_what_is_being_taken_in_is_not_described_otherwise(
    member_client: TestClient, slug: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings_files, "CELLS_AT_ONCE", 4)
    here = send(member_client, slug)
    member_client.post(here, data=described(do="take"))
    assert member_client.post(here, data=described(do="look")).status_code == 409


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"column.0": ""}, "column-0"),
        ({"column.1": "channel:99"}, "column-1"),
        ({"unit.1": "mbar"}, "column-1"),
        ({"column.2": "channel:2"}, "column-2"),
        ({"column.0": "elapsed", "unit.0": "s"}, "start"),
        ({"start": "soon"}, "start"),
    ],
)
def test_a_description_that_cannot_be_is_said_at_its_field(
    member_client: TestClient, slug: str, more: dict[str, str], field: str
) -> None:
    answer = member_client.post(send(member_client, slug), data=described(do="take", **more))
    assert answer.status_code == 422
    assert f'href="#f-{field}"' in answer.text


def test_who_may_not_and_who_is_not_signed_in(
    app: FastAPI,
    sign_in: Callable[[Person], TestClient],
    client: TestClient,
    member_client: TestClient,
    slug: str,
) -> None:
    here = send(member_client, slug)
    guest = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    home = f"/cryostats/{slug}/readings"
    assert guest.get(home).status_code == 200
    assert 'enctype="multipart' not in guest.get(home).text
    files = {"file": ("a.csv", LOG.encode(), "text/csv")}
    assert guest.post(f"{home}/files", files=files).status_code == 403
    assert guest.post(here, data=described(do="take")).status_code == 403
    assert guest.post(f"{here}/step?after=0").status_code == 403
    assert client.get(home).status_code == 303
    assert client.post(f"{home}/files", files=files).status_code == 401


def test_absurd_addresses_are_not_found(member_client: TestClient, slug: str) -> None:
    home = f"/cryostats/{slug}/readings/files"
    for number in ("0", "-1", "99", "9" * 30):
        assert member_client.get(f"{home}/{number}").status_code == 404
    assert member_client.get("/cryostats/nowhere/readings").status_code == 404


def test_a_silence_is_a_fault_once_and_the_page_says_since_when(
    app: FastAPI, steward_client: TestClient, member_client: TestClient, slug: str
) -> None:
    member_client.post(send(member_client, slug), data=described(do="take"))
    home = f"/cryostats/{slug}/readings"
    page = member_client.get(home).text
    assert page.count("no reading since") == 2
    assert "31.75 K" not in page
    assert f'hx-post="{home}/silences"' in page
    first = member_client.post(f"{home}/silences")
    assert first.headers["location"].startswith("/faults/")
    again = member_client.post(f"{home}/silences")
    assert again.headers["location"] == home
    assert "No reading of Platform since" in steward_client.get(first.headers["location"]).text
    assert f'hx-post="{home}/silences"' not in member_client.get(home).text
    with reading(app.state.engine) as session:
        assert {row.name for row in session.exec(select(Channel)).all()} == {"Platform", "Shield"}
