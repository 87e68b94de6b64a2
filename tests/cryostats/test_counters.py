"""Counters are readings: meters, replaced meters, falling readings, corrections, counting, hands on."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import Session

from server.cryostats import counters, instruments
from server.cryostats.counter_models import CounterEntry
from server.cryostats.counter_rules import COUNTED, READ, REPLACED, walked
from server.cryostats.counters import Shown
from server.cryostats.models import Cryostat
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.laboratory.service import set_up
from server.people.models import Person
from tests.factories import AT, a_bench, a_cryostat, give_grade, lid, somebody, token_of

HOUR = timedelta(hours=1)
NOW = AT + timedelta(days=1000)


@pytest.fixture
def books(session: Session) -> tuple[Session, Person, Cryostat]:
    """A session, a steward, and a cryostat."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    return session, somebody(session), a_cryostat(session)


Books = tuple[Session, Person, Cryostat]


def read(books: Books, value: float, hours: float, counter: str = "compressor_hours", **more: Any) -> Any:
    session, ada, cryostat = books
    person = more.pop("by", ada)
    said = Shown(counter, value, AT + hours * HOUR, **more)
    return counters.read(session, person, cryostat, said, NOW)


def now_at(books: Books, counter: str = "compressor_hours", hours: float | None = None) -> float:
    at = None if hours is None else AT + hours * HOUR
    return counters.value(books[0], books[2], counter, at)


def test_a_counter_is_its_last_reading_and_was_what_it_was(books: Books) -> None:
    assert now_at(books) == 0.0
    read(books, 12_450.5, 0)
    read(books, 12_600, 200)
    assert now_at(books) == 12_600
    assert now_at(books, hours=199) == 12_450.5
    assert now_at(books, hours=-1) == 0.0


def test_a_falling_reading_is_refused_and_says_what_stood(books: Books) -> None:
    read(books, 12_450, 0)
    with pytest.raises(Refused) as caught:
        read(books, 1_245, 10)
    assert "12450 h on 14 Mar 2026" in caught.value.fields["value"]
    assert now_at(books) == 12_450


def test_a_replaced_meter_carries_on_with_what_went_before(books: Books) -> None:
    read(books, 12_450, 0)
    read(books, 30, 40, replaced=True, began=10)
    assert now_at(books) == 12_470
    read(books, 60, 80)
    rows = counters.readings(books[0], books[2], "compressor_hours")
    assert [(row.total, row.offset) for row in rows] == [(12_450, 0), (12_470, 12_440), (12_500, 12_440)]


def test_the_meter_after_a_replaced_one_may_not_fall_either(books: Books) -> None:
    read(books, 12_450, 0)
    read(books, 30, 40, replaced=True)
    with pytest.raises(Refused):
        read(books, 20, 50)


def test_a_late_reading_has_to_fit_between_its_neighbours(books: Books) -> None:
    read(books, 100, 0)
    read(books, 200, 100)
    read(books, 150, 50)
    for value in (90, 210):
        with pytest.raises(Refused):
            read(books, value, 60)
    with pytest.raises(Refused) as caught:
        read(books, 0, 40, replaced=True)
    assert set(caught.value.fields) == {"at"}


def test_a_meter_runs_no_faster_than_the_clock(books: Books) -> None:
    read(books, 12_450, 0)
    with pytest.raises(Refused) as caught:
        read(books, 21_450, 168)
    assert "168 h ago" in caught.value.fields["value"]
    read(books, 12_450 + 168, 168)


def test_a_correction_puts_later_totals_right_and_is_made_once(books: Books) -> None:
    read(books, 12_450, 0)
    wrong = read(books, 25, 40, replaced=True, began=20)
    read(books, 60, 80)
    assert now_at(books) == 12_490
    read(books, 25, 40, replaced=True, began=0, corrects=wrong.id)
    assert now_at(books) == 12_510
    with pytest.raises(Conflict, match="Ada has corrected"):
        read(books, 24, 40, replaced=True, corrects=wrong.id)
    with pytest.raises(Refused):
        read(books, 24, 40, counter="pump_hours", corrects=1)
    with pytest.raises(NotFound):
        read(books, 24, 40, corrects=2**40)


def test_the_entry_of_another_cryostat_is_not_corrected_from_here(books: Books) -> None:
    session, ada, _ = books
    row = read(books, 100, 0)
    other = (session, ada, a_cryostat(session, "Bench B"))
    with pytest.raises(NotFound):
        read(other, 90, 0, corrects=row.id)


def test_what_is_counted_adds_up_on_what_was_before(books: Books) -> None:
    session, ada, cryostat = books
    read(books, 143, 0, "cooldowns")
    for hours in (10, 20):
        counters.count(session, ada, cryostat, "cooldowns", AT + hours * HOUR, NOW)
    assert now_at(books, "cooldowns") == 145
    assert now_at(books, "cooldowns", hours=15) == 144
    read(books, 150, 30, "cooldowns")
    counters.count(session, ada, cryostat, "cooldowns", AT + 25 * HOUR, NOW)
    assert now_at(books, "cooldowns") == 150
    with pytest.raises(Refused):
        read(books, 149, 40, "cooldowns")


def test_only_what_has_no_meter_is_counted(books: Books) -> None:
    session, ada, cryostat = books
    for name in ("compressor_hours", "wishes"):
        with pytest.raises(ValueError, match="counted"):
            counters.count(session, ada, cryostat, name, AT, NOW)


@pytest.mark.parametrize(
    ("counter", "value", "more", "field"),
    [
        ("wishes", 1, {}, "counter"),
        ("pump_hours", -1, {}, "value"),
        ("pump_hours", float("nan"), {}, "value"),
        ("pump_hours", float("inf"), {}, "value"),
        ("pump_hours", 1e8, {}, "value"),
        ("cooldowns", 1.5, {}, "value"),
        ("cooldowns", 1, {"replaced": True}, "replaced"),
        ("pump_hours", 5, {"replaced": True, "began": 6}, "began"),
        ("pump_hours", 5, {"replaced": True, "began": float("nan")}, "began"),
        ("pump_hours", 5, {"note": "\x00"}, "note"),
        ("pump_hours", 5, {"note": "x" * 2001}, "note"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    books: Books, counter: str, value: float, more: dict[str, Any], field: str
) -> None:
    with pytest.raises(Refused) as caught:
        read(books, value, 0, counter, **more)
    assert set(caught.value.fields) == {field}
    assert counters.entries(books[0], books[2])["pump_hours"] == []


@pytest.mark.parametrize("hours", [24_001, -1e6])
def test_a_time_ahead_or_before_all_books_is_refused(books: Books, hours: float) -> None:
    with pytest.raises(Refused) as caught:
        read(books, 5, hours)
    assert set(caught.value.fields) == {"at"}


def test_whoever_may_operate_reads_and_service_replaces(books: Books) -> None:
    session, ada, cryostat = books
    ben = somebody(session, "ben", steward=False)
    with pytest.raises(Forbidden, match="grade 1"):
        read(books, 5, 0, by=ben)
    instruments.give_grade(session, ada, cryostat, ben, 1, AT)
    read(books, 5, 0, by=ben)
    with pytest.raises(Forbidden, match="grade 4"):
        read(books, 1, 10, by=ben, replaced=True)


def test_hands_on_is_the_last_of_anybody_or_of_one(books: Books) -> None:
    session, ada, cryostat = books
    assert counters.last_hands_on(session, cryostat) is None
    counters.hands_on(session, cryostat, AT, ada)
    counters.hands_on(session, cryostat, AT + HOUR)
    counters.hands_on(session, a_cryostat(session, "Bench B"), AT + 5 * HOUR, ada)
    assert counters.last_hands_on(session, cryostat) == AT + HOUR
    assert counters.last_hands_on(session, cryostat, ada) == AT


@pytest.mark.parametrize("table", ["counter_entry", "hands_on"])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET at = recorded_at"])
def test_the_database_itself_refuses_to_rewrite_them(books: Books, table: str, statement: str) -> None:
    read(books, 5, 0)
    counters.hands_on(books[0], books[2], AT)
    statement = statement.replace("recorded_at", "recorded_at" if table == "counter_entry" else "at")
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        books[0].execute(sa.text(statement.format(table)))


STEPS = st.lists(
    st.tuples(st.sampled_from([READ, REPLACED, COUNTED]), st.integers(0, 50), st.integers(0, 50)), max_size=12
)


@given(STEPS)
def test_a_total_never_falls_when_meters_only_rise(steps: list[tuple[str, int, int]]) -> None:
    """Whatever is read, replaced and counted in turn: the sum of what every meter ran."""
    rows, meter, expected = [], 0, 0
    for number, (kind, ran, fitted) in enumerate(steps, start=1):
        if kind == COUNTED:
            continue
        meter = fitted + ran if kind == REPLACED else meter + ran
        expected += ran
        at = AT + number * HOUR
        fields: dict[str, Any] = {
            "cryostat_id": 1,
            "counter": "pump_hours",
            "recorded_at": at,
            "by_name": "Ada",
        }
        began = fitted if kind == REPLACED else 0
        rows.append(CounterEntry(id=number, kind=kind, shown=meter, began=began, at=at, **fields))
    totals = [row.total for row in walked(rows[::-1])]
    assert totals == sorted(totals)
    assert (totals[-1] if totals else 0) == expected


# ---------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def home(app: FastAPI, steward: Person, member: Person) -> str:
    """The page of counters of a cryostat that Ben may operate."""
    slug = a_bench(app.state.engine, steward, lid())
    give_grade(app.state.engine, slug, member, 1)
    return f"/cryostats/{slug}/counters"


READING = {"counter": "compressor_hours", "value": "12 450.5 h", "at": "2026-03-14 11:20"}


def test_a_reading_and_its_correction_go_through_the_page(member_client: TestClient, home: str) -> None:
    assert "Nothing read yet" in member_client.get(home).text
    assert member_client.post(home, data=READING).status_code == 303
    page = member_client.get(home).text
    assert "12450.5 h" in page
    assert "Ben Member" in page
    assert "another meter" not in page
    form = member_client.get(f"{home}?correct=1").text
    assert 'name="corrects" value="1"' in form
    assert member_client.post(home, data=READING | {"value": "12540", "corrects": "1"}).status_code == 303
    page = member_client.get(home).text
    assert "Instead of entry 1" in page
    assert home in member_client.get(home.removesuffix("/counters")).text


def test_a_replaced_meter_goes_through_the_page_of_a_steward(steward_client: TestClient, home: str) -> None:
    assert steward_client.post(home, data=READING).status_code == 303
    more = {"value": "7", "at": "2026-03-15 11:20", "replaced": "yes", "began": "2"}
    assert steward_client.post(home, data=READING | more).status_code == 303
    page = steward_client.get(home).text
    assert "12455.5 h" in page
    assert "before this meter 12448.5" in page


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"value": ""}, "value"),
        ({"value": "many"}, "value"),
        ({"value": "1e400"}, "value"),
        ({"value": "12445"}, "value"),
        ({"counter": "wishes"}, "counter"),
        ({"at": "soon"}, "at"),
        ({"at": "2199-01-01 10:00"}, "at"),
        ({"corrects": "first"}, "corrects"),
    ],
)
def test_what_is_to_be_mended_is_said_at_its_field_and_what_was_typed_stays(
    steward_client: TestClient, home: str, more: dict[str, str], field: str
) -> None:
    assert steward_client.post(home, data=READING | {"at": "2026-03-13 11:20"}).status_code == 303
    answer = steward_client.post(home, data=READING | {"note": "by photograph"} | more)
    assert answer.status_code == 422
    assert f'href="#f-{field}"' in answer.text
    assert 'value="by photograph"' in answer.text


def test_who_may_not_and_who_is_not_signed_in(
    app: FastAPI, sign_in: Callable[[Person], TestClient], client: TestClient, home: str
) -> None:
    from tests.fixtures.people import make_person

    guest = sign_in(make_person(app.state.engine, "cleo", "Cleo Guest"))
    assert 'method="post" action="/cryostats' not in guest.get(home).text
    assert guest.post(home, data=READING).status_code == 403
    assert client.get(home).status_code == 303
    assert client.post(home, data=READING).status_code == 401
    assert guest.get(f"{home}?correct=99").status_code == 404


def test_a_program_reads_and_enters(app: FastAPI, client: TestClient, home: str, member: Person) -> None:
    headers = {"Authorization": f"Bearer {token_of(app.state.engine, member)}"}
    address = f"/api/v1{home}"
    sent: dict[str, Any] = {
        "counter": "pump_hours",
        "value": 8000,
        "at": "2026-03-14T11:20:00Z",
        "note": "photographed",
    }
    made = client.post(address, json=sent, headers=headers)
    assert (made.status_code, made.json()["total"], made.json()["by"]) == (201, 8000, "Ben Member")
    found = client.get(address, headers=headers).json()
    by_key = {row["key"]: row for row in found["counters"]}
    assert by_key["pump_hours"]["value"] == 8000
    assert by_key["pump_hours"]["readings"] == [made.json()]
    assert by_key["openings"]["value"] is None
    fallen = client.post(address, json=sent | {"value": 7000}, headers=headers)
    assert fallen.status_code == 422
    assert [row["field"] for row in fallen.json()["fields"]] == ["value"]
    bodies: list[Any] = [{}, [], sent | {"value": "x"}, sent | {"wine": 1}, sent | {"at": "2026-03-14 11:20"}]
    for body in bodies:
        assert client.post(address, json=body, headers=headers).status_code == 422, body
    assert client.post(address, json=sent | {"corrects": 2**70}, headers=headers).status_code == 404
    assert client.post(address, json=sent | {"replaced": True}, headers=headers).status_code == 403
    assert client.post(address, json=sent).status_code == 401
