"""The pages and the JSON face of the charges: for a steward, a member, and with bad input."""

from datetime import date, timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.bookings import accounts
from server.bookings.models import Group
from server.charges import api, service
from server.charges.rates import Entered
from server.db import now, writing
from server.people.models import Person
from tests.bookings.conftest import NOW, Desk, ask
from tests.charges.conftest import rated
from tests.factories import token_of

RATE = {
    "what": "cold",
    "group_kind": "internal",
    "per_hour": "12,50",
    "currency": "eur",
    "from_day": "2026-01-01",
}


@pytest.fixture
def group(app: FastAPI) -> int:
    """A group that nobody belongs to."""
    with writing(app.state.engine) as session:
        made = Group(name="Optics")
        session.add(made)
        session.commit()
        return made.id or 0


def test_a_rate_is_entered_and_shown_with_its_unit(steward_client: TestClient) -> None:
    assert steward_client.post("/charges/rates", data=RATE).status_code == 303
    assert "12.50 EUR" in steward_client.get("/charges/rates").text


@pytest.mark.parametrize("field", ["per_hour", "currency", "from_day", "group_kind"])
def test_a_field_left_empty_is_named(steward_client: TestClient, field: str) -> None:
    page = steward_client.post("/charges/rates", data=RATE | {field: ""})
    assert page.status_code == 422
    assert f'id="f-{field}-error"' in page.text or f"#f-{field}" in page.text


def test_an_account_is_entered_beside_its_group(steward_client: TestClient, group: int) -> None:
    sent = {"group": str(group), "number": "A-17", "valid_from": "2026-01-01", "valid_until": ""}
    assert steward_client.post("/plan/accounts", data=sent).status_code == 303
    assert "A-17" in steward_client.get("/plan/accounts").text
    turned = sent | {"valid_until": "2025-01-01"}
    assert steward_client.post("/plan/accounts", data=turned).status_code == 422
    assert steward_client.post("/plan/accounts", data=sent | {"valid_from": "soon"}).status_code == 422
    kind = {"group": str(group), "kind": "outside"}
    assert steward_client.post("/plan/accounts/kind", data=kind).status_code == 303
    assert "Kind: outside" in steward_client.get("/plan/accounts").text


def test_a_member_enters_nothing_and_makes_nothing(member_client: TestClient, group: int) -> None:
    assert member_client.post("/charges/rates", data=RATE).status_code == 403
    assert member_client.post("/charges", data={"month": "2026-03"}).status_code == 403
    sent = {"group": str(group), "number": "A-17", "valid_from": "2026-01-01"}
    assert member_client.post("/plan/accounts", data=sent).status_code == 403
    assert member_client.get("/charges").status_code == 200


def test_a_month_that_is_none_is_refused_everywhere(steward_client: TestClient) -> None:
    for month in ("2026-13", "soon", "26-1", "\x00", "99999-01"):
        assert steward_client.get("/charges", params={"month": month}).status_code == 422
        assert steward_client.post("/charges", data={"month": month}).status_code == 422
        assert steward_client.get("/charges/table", params={"month": month}).status_code == 422
    assert steward_client.get("/charges/9999999999999").status_code == 404
    assert steward_client.post("/charges", data={"month": "2026-03"}).status_code == 303


def test_the_table_has_its_head_even_when_nothing_is_in_it(steward_client: TestClient) -> None:
    told = steward_client.get("/charges/table", params={"month": "2026-03"})
    assert told.headers["content-type"].startswith("text/csv")
    assert told.text.endswith("why,state\r\n")


def test_the_last_entry_of_a_number_holds_and_the_days_count(
    app: FastAPI, steward: Person, group: int
) -> None:
    with writing(app.state.engine) as session:
        for until in (date(2026, 12, 31), date(2026, 6, 30)):
            wanted = accounts.Entered("A-17", date(2026, 1, 1), until)
            accounts.enter(session, steward, group, wanted, now())
        rows = accounts.current(session)[group]
        assert [row.valid_until for row in rows] == [date(2026, 6, 30)]
        assert accounts.holds(rows, date(2026, 6, 30)) is not None
        assert accounts.holds(rows, date(2026, 7, 1)) is None
        assert accounts.holds(rows, date(2025, 12, 31)) is None
        wanted_rate = Entered("internal", "cold", "7", "EUR", date(2026, 1, 1))
        assert service.enter_rate(session, steward, wanted_rate, now()).cents_per_hour == 700


def test_a_program_reads_its_own_lines_with_a_token(app: FastAPI, member: Person) -> None:
    client = TestClient(app)
    assert client.get("/api/v1/charges", params={"month": "2026-03"}).status_code == 401
    client.headers["Authorization"] = f"Bearer {token_of(app.state.engine, member)}"
    told = client.get("/api/v1/charges", params={"month": "2026-03"})
    assert told.json() == {"month": "2026-03", "lines": []}
    assert client.get("/api/v1/charges", params={"month": "2026-13"}).status_code == 422


def test_a_line_goes_out_in_whole_hundredths_and_seconds(desk: Desk, optics: Group) -> None:
    rated(desk)
    desk.book(ask(10, group_id=optics.id))
    service.make(desk.session, desk.ada, "2026-03", NOW + timedelta(days=10))
    told = api.index("2026-03", desk.ben, desk.session)
    cold = next(row for row in told.lines if row.what == "cold")
    assert (cold.seconds, cold.cents, cold.payer, cold.state) == (36000, 10000, "Optics", "made")
    assert api.index("2026-03", desk.cleo, desk.session).lines == []
