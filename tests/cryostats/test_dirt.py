"""Dirt and gas: entries that later explain pump-down, kept with revision and time."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.cryostats import dirt, instruments, service
from server.cryostats.dirt_rules import KINDS, Said, read, words
from server.cryostats.models import Cryostat
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.people.models import Person
from tests.factories import AT, a_bench, a_cryostat, change, give_grade, lid, logged, somebody, wire


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """A session, a steward, and a cryostat with two revisions an hour apart."""
    ada, cryostat = somebody(session), a_cryostat(session)
    logged(session, ada, cryostat, lid())
    later = change(1, wire(), done_at=AT + timedelta(hours=1))
    service.log_change(session, ada, cryostat.slug, later, AT + timedelta(hours=1))
    return session, ada, cryostat


Books = tuple[Session, Person, Cryostat]
LATER = AT + timedelta(hours=2)


def write(books: Books, said: Said, by: Person | None = None) -> Any:
    session, ada, cryostat = books
    return dirt.write(session, by or ada, cryostat.slug, said, LATER)


def test_an_entry_stands_with_the_revision_that_stood_when_it_happened(books: Books) -> None:
    now, before, first = (
        write(books, Said("solid", "polyimide tape", done_at=at))
        for at in (None, AT + timedelta(minutes=30), AT - timedelta(days=1))
    )
    assert [row.revision for row in (now, before, first)] == [2, 1, 0]
    assert [row.id for row in dirt.entries(books[0], books[2])] == [first.id, before.id, now.id]


def test_values_are_kept_in_si_and_told_in_the_units_of_the_trade() -> None:
    data, faults = read("vent", {"gas": "nitrogen", "open_s": "2.5 h", "humidity": "45 %"})
    assert faults == {}
    assert data == {"gas": "nitrogen", "open_s": 9000.0, "humidity": 0.45}
    assert words("vent", data) == (
        ("Vent gas", "nitrogen"),
        ("Open for", "2.5 h"),
        ("Humidity of the room", "45 %"),
    )


def test_a_range_and_unknown_are_answers_and_empty_is_none() -> None:
    assert read("solid", {"area_m2": "10-20 cm²", "baked": ""}) == ({"area_m2": [0.001, 0.002]}, {})
    assert read("exchange", {"pressure_Pa": "?"}) == ({"pressure_Pa": None}, {})
    assert read("helium", {"leak_Pa_m3_s": "1e-9 mbar·L/s"})[0] == {"leak_Pa_m3_s": pytest.approx(1e-10)}


@pytest.mark.parametrize(
    ("kind", "name", "text"),
    [
        ("vent", "open_s", "two hours"),
        ("vent", "open_s", "-1 h"),
        ("vent", "gas", "neon"),
        ("vent", "humidity", "145 %"),
        ("solid", "area_m2", "20 m2"),
        ("solid", "area_m2", "5 mm"),
        ("fluid", "approved", "x" * 201),
    ],
)
def test_what_cannot_be_read_is_said_at_its_field(kind: str, name: str, text: str) -> None:
    assert set(read(kind, {name: text})[1]) == {name}


def test_every_thing_the_trade_keeps_has_a_kind() -> None:
    """Plastics, liquids, powders, vent gas, open hours, humidity, exchange gas: common practice."""
    asked = {row.name for kind in KINDS.values() for row in kind.asked}
    assert {"area_m2", "mass_kg", "open_s", "humidity", "gas", "pressure_Pa", "leak_Pa_m3_s"} <= asked


@pytest.mark.parametrize(
    ("said", "field"),
    [
        (Said("ghost", "x"), "kind"),
        (Said("solid", " "), "what"),
        (Said("solid", "x" * 201), "what"),
        (Said("solid", "x", note="\x02"), "note"),
        (Said("solid", "x", done_at=LATER + timedelta(hours=1)), "done_at"),
        (Said("solid", "x", done_at=AT.replace(year=1901)), "done_at"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(books: Books, said: Said, field: str) -> None:
    with pytest.raises(Refused) as caught:
        write(books, said)
    assert set(caught.value.fields) == {field}
    assert dirt.entries(books[0], books[2]) == []


def test_a_correction_stands_beside_what_it_corrects_and_is_made_once(books: Books) -> None:
    first = write(books, Said("solid", "tape"))
    second = write(books, Said("solid", "polyimide tape", corrects=first.id))
    assert dirt.corrected(books[0], books[2]) == {first.id}
    with pytest.raises(Conflict, match="Ada has corrected"):
        write(books, Said("solid", "another", corrects=first.id))
    write(books, Said("solid", "PTFE tape", corrects=second.id))


def test_an_entry_of_another_cryostat_is_not_corrected_from_here(books: Books) -> None:
    session, ada, _ = books
    first = write(books, Said("solid", "tape"))
    other = a_cryostat(session, "Bench B")
    with pytest.raises(NotFound):
        dirt.write(session, ada, other.slug, Said("solid", "x", corrects=first.id), LATER)


def test_whoever_may_open_writes(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, ada, cryostat, ben, 1, AT)
    with pytest.raises(Forbidden, match="grade 2"):
        write(books, Said("solid", "tape"), by=ben)
    instruments.give_grade(session, ada, cryostat, ben, 2, AT)
    assert write(books, Said("solid", "tape"), by=ben).by_name == "Ben"


@pytest.mark.parametrize("statement", ["DELETE FROM dirt_entry", "UPDATE dirt_entry SET what = 'clean'"])
def test_the_database_itself_refuses_to_rewrite_them(books: Books, statement: str) -> None:
    write(books, Said("solid", "tape"))
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        books[0].execute(sa.text(statement))


# ---------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def home(app: FastAPI, steward: Person, member: Person) -> str:
    """The page of dirt and gas of a cryostat that Ben may open."""
    slug = a_bench(app.state.engine, steward, lid())
    give_grade(app.state.engine, slug, member, 2)
    return f"/cryostats/{slug}/dirt"


VENT = {
    "kind": "vent",
    "what": "Lid off for an objective",
    "gas": "nitrogen",
    "open_s": "2.5 h",
    "humidity": "45",
}


def test_an_entry_and_its_correction_go_through_the_page(member_client: TestClient, home: str) -> None:
    assert "Vent gas" in member_client.get(f"{home}?kind=vent").text
    assert member_client.post(home, data=VENT).status_code == 303
    page = member_client.get(home).text
    for part in ("Lid off for an objective", "nitrogen", "2.5 h", "45 %", "Ben Member"):
        assert part in page
    form = member_client.get(f"{home}?correct=1").text
    assert 'value="2.5 h"' in form
    assert member_client.post(home, data=VENT | {"open_s": "5 h", "corrects": "1"}).status_code == 303
    page = member_client.get(home).text
    assert "corrected" in page
    assert "Instead of entry 1" in page
    assert home in member_client.get(home.removesuffix("/dirt")).text


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"open_s": "long"}, "open_s"),
        ({"what": ""}, "what"),
        ({"done_at": "soon"}, "done_at"),
        ({"done_at": "2199-01-01 10:00"}, "done_at"),
    ],
)
def test_what_is_to_be_mended_is_said_at_its_field_and_what_was_typed_stays(
    member_client: TestClient, home: str, more: dict[str, str], field: str
) -> None:
    answer = member_client.post(home, data=VENT | more)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    assert 'value="45"' in answer.text


@pytest.mark.parametrize("kind", ["ghost", "", "<b>"])
def test_a_kind_that_is_none_is_refused(member_client: TestClient, home: str, kind: str) -> None:
    assert member_client.post(home, data=VENT | {"kind": kind}).status_code == 422
    assert member_client.get(home, params={"kind": kind}).status_code == 200


def test_who_may_not_and_who_is_not_signed_in(
    app: FastAPI, sign_in: Callable[[Person], TestClient], client: TestClient, home: str
) -> None:
    from tests.fixtures.people import make_person

    guest = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    assert 'method="post" action="/cryostats' not in guest.get(home).text
    assert guest.post(home, data=VENT).status_code == 403
    assert client.get(home).status_code == 303
    assert client.post(home, data=VENT).status_code == 401
    assert guest.get(f"{home}?correct=99").status_code == 404
