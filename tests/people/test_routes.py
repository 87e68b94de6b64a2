"""The pages of the people, which are the steward's."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import now, reading, writing
from server.people import api_tokens
from server.people.models import ApiToken, Invitation, Person
from tests.fixtures.people import browser

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
ADDRESSES = (
    "/people/invitations",
    "/people/invitations/1/withdraw",
    "/people/1/name",
    "/people/1/active",
    "/people/1/steward",
    "/people/1/password-link",
    "/people/1/tokens/1/revoke",
)


@pytest.mark.parametrize("address", ["/people", "/people/1"])
def test_the_pages_are_for_stewards(member_client: TestClient, steward: Person, address: str) -> None:
    assert steward.id
    assert member_client.get(address).status_code == 403


@pytest.mark.parametrize("address", ADDRESSES)
def test_nobody_but_a_steward_does_any_of_it(
    app: FastAPI, member_client: TestClient, steward: Person, address: str
) -> None:
    typed = {"for_name": "Eve", "name": "Eve", "active": "no", "steward": "yes"}
    assert member_client.post(address, data=typed).status_code == 403
    with reading(app.state.engine) as session:
        assert session.exec(select(Invitation)).all() == []
        assert session.get_one(Person, steward.id).name == "Ada Steward"


def test_the_list_shows_everybody(steward_client: TestClient, member: Person) -> None:
    page = steward_client.get("/people").text
    assert "Ada Steward" in page
    assert f'href="/people/{member.id}"' in page


def test_a_link_is_shown_once_and_listed_as_waiting(steward_client: TestClient) -> None:
    made = steward_client.post("/people/invitations", data={"for_name": "Eve"})
    assert "http://testserver/invitation/" in made.text
    page = steward_client.get("/people").text
    assert "Links not used yet" in page
    assert "/invitation/" not in page.replace("/people/invitations", "")


def test_a_link_is_withdrawn(app: FastAPI, steward_client: TestClient) -> None:
    made = steward_client.post("/people/invitations", data={"for_name": "Eve"})
    address = made.text.split("http://testserver")[1].split("<")[0]
    assert steward_client.post("/people/invitations/1/withdraw").status_code == 303
    assert browser(app).get(address).status_code == 410
    assert steward_client.post("/people/invitations/1/withdraw").status_code == 404


def test_an_invitation_without_a_name_is_refused_at_its_field(steward_client: TestClient) -> None:
    answer = steward_client.post("/people/invitations", data={"for_name": ""})
    assert answer.status_code == 422
    assert 'id="f-for_name-error"' in answer.text


def test_a_person_gets_another_name(steward_client: TestClient, member: Person) -> None:
    address = f"/people/{member.id}"
    assert steward_client.post(f"{address}/name", data={"name": "Ben Cold"}).status_code == 303
    assert "Name altered from Ben Member to Ben Cold" in steward_client.get(address).text
    answer = steward_client.post(f"{address}/name", data={"name": ""})
    assert answer.status_code == 422
    assert 'id="f-name-error"' in answer.text


def test_a_deactivated_person_is_out_and_can_be_let_in_again(
    app: FastAPI, steward_client: TestClient, member_client: TestClient, member: Person
) -> None:
    address = f"/people/{member.id}"
    assert steward_client.post(f"{address}/active", data={"active": "no"}).status_code == 303
    assert member_client.get("/account").status_code == 303
    page = steward_client.get(address).text
    assert "Deactivated; sign-ins ended, tokens revoked" in page
    assert "Let in again" in page
    steward_client.post(f"{address}/active", data={"active": "yes"})
    assert member_client.get("/account").status_code == 303, "the sign-in does not come back"
    with reading(app.state.engine) as session:
        assert session.get_one(Person, member.id).active


def test_the_right_of_a_steward_is_given_and_taken(
    steward_client: TestClient, member_client: TestClient, member: Person
) -> None:
    address = f"/people/{member.id}/steward"
    steward_client.post(address, data={"steward": "yes"})
    assert member_client.get("/people").status_code == 200
    steward_client.post(address, data={"steward": "no"})
    assert member_client.get("/people").status_code == 403


@pytest.mark.parametrize(("what", "typed"), [("steward", {"steward": "no"}), ("active", {"active": "no"})])
def test_the_last_steward_stays_and_is_told_why(
    steward_client: TestClient, steward: Person, what: str, typed: dict[str, str]
) -> None:
    answer = steward_client.post(f"/people/{steward.id}/{what}", data=typed)
    assert answer.status_code == 422
    assert "last steward" in answer.text
    assert steward_client.get("/people").status_code == 200


def test_a_lost_password_is_set_by_a_link(
    app: FastAPI, steward_client: TestClient, member_client: TestClient, member: Person
) -> None:
    made = steward_client.post(f"/people/{member.id}/password-link")
    assert made.headers["cache-control"] == "no-store"
    address = made.text.split("http://testserver")[1].split("<")[0]
    visitor = browser(app)
    assert "Ben Member" in visitor.get(address).text
    new = {"password": "another cold night", "again": "another cold night"}
    assert visitor.post(address, data=new).status_code == 303
    assert "Ben Member" in visitor.get("/account").text
    assert member_client.get("/account").status_code == 303
    assert browser(app).get(address).status_code == 410


def test_a_steward_revokes_the_token_of_another(
    app: FastAPI, steward_client: TestClient, member: Person
) -> None:
    with writing(app.state.engine) as session:
        row, _text = api_tokens.make(session, member, "logger", now())
        session.commit()
        token_id = row.id
    assert "logger" in steward_client.get(f"/people/{member.id}").text
    assert steward_client.post(f"/people/{member.id}/tokens/{token_id}/revoke").status_code == 303
    with reading(app.state.engine) as session:
        assert session.exec(select(ApiToken.revoked_at)).one() is not None


@pytest.mark.parametrize("address", ["/people/4711", "/people/4711/active", "/people/4711/tokens/1/revoke"])
def test_a_person_nobody_knows_is_not_found(steward_client: TestClient, address: str) -> None:
    method = "GET" if address.count("/") == 2 else "POST"
    assert steward_client.request(method, address, data={"active": "no"}).status_code == 404


def test_names_are_shown_as_text(steward_client: TestClient, member: Person) -> None:
    steward_client.post(f"/people/{member.id}/name", data={"name": "<b>Ben</b>"})
    assert "<b>Ben</b>" not in steward_client.get("/people").text
