"""Somebody's own account, as a browser sees it."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import reading
from server.people import attempts
from server.people.models import ApiToken, Person, SignIn
from tests.fixtures.people import PASSWORD, browser

SignsIn = Callable[[Person], TestClient]
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
NEW = {"present": PASSWORD, "password": "another cold night", "again": "another cold night"}


def test_the_account_shows_what_is_theirs(member_client: TestClient) -> None:
    answer = member_client.get("/account")
    assert "Ben Member" in answer.text
    assert "this browser" in answer.text
    assert "No token yet" in answer.text


def test_a_new_password_works_and_the_old_one_does_not(app: FastAPI, member_client: TestClient) -> None:
    assert member_client.post("/account/password", data=NEW).status_code == 303
    old, new = browser(app), browser(app)
    assert old.post("/sign-in", data={"login": "ben", "password": PASSWORD}).status_code == 422
    assert new.post("/sign-in", data={"login": "ben", "password": NEW["password"]}).status_code == 303


def test_a_new_password_ends_the_other_sign_ins(sign_in: SignsIn, member: Person) -> None:
    here, elsewhere = sign_in(member), sign_in(member)
    here.post("/account/password", data=NEW)
    assert here.get("/account").status_code == 200
    assert elsewhere.get("/account").status_code == 303


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"present": "wrong"}, "present"),
        ({"password": "short", "again": "short"}, "password"),
        ({"again": "another cold day"}, "again"),
    ],
)
def test_what_is_to_mend_about_a_new_password_stands_at_its_field(
    sign_in: SignsIn, member: Person, typed: dict[str, str], field: str
) -> None:
    here, elsewhere = sign_in(member), sign_in(member)
    answer = here.post("/account/password", data=NEW | typed)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    assert elsewhere.get("/account").status_code == 200


def test_the_present_password_cannot_be_guessed_without_end(member_client: TestClient) -> None:
    for _ in range(attempts.PER_LOGIN):
        member_client.post("/account/password", data=NEW | {"present": "wrong"})
    answer = member_client.post("/account/password", data=NEW)
    assert answer.status_code == 429
    assert "Too many attempts" in answer.text


def make_token(client: TestClient) -> str:
    answer = client.post("/account/tokens", data={"token_name": "logger"})
    assert answer.status_code == 201
    assert answer.headers["cache-control"] == "no-store"
    return str(answer.text.split('class="secret">')[1].split("<")[0])


def test_a_token_is_shown_once(member_client: TestClient) -> None:
    text = make_token(member_client)
    page = member_client.get("/account").text
    assert text not in page
    assert text[:16] in page


def test_a_token_is_revoked_by_its_owner(app: FastAPI, member_client: TestClient) -> None:
    text = make_token(member_client)
    program = browser(app)
    headers = {"Authorization": f"Bearer {text}"}
    assert program.get("/api/v1/cryostats", headers=headers).status_code == 200
    with reading(app.state.engine) as session:
        token_id = session.exec(select(ApiToken.id)).one()
    assert member_client.post(f"/account/tokens/{token_id}/revoke").status_code == 303
    assert program.get("/api/v1/cryostats", headers=headers).status_code == 401


def test_nobody_revokes_the_token_of_another(
    app: FastAPI, member_client: TestClient, steward_client: TestClient
) -> None:
    make_token(steward_client)
    with reading(app.state.engine) as session:
        token_id = session.exec(select(ApiToken.id)).one()
    assert member_client.post(f"/account/tokens/{token_id}/revoke").status_code == 404
    with reading(app.state.engine) as session:
        assert session.exec(select(ApiToken.revoked_at)).one() is None


def test_a_token_without_a_name_is_refused_at_its_field(app: FastAPI, member_client: TestClient) -> None:
    answer = member_client.post("/account/tokens", data={"token_name": " "})
    assert answer.status_code == 422
    assert 'id="f-token_name-error"' in answer.text
    with reading(app.state.engine) as session:
        assert session.exec(select(ApiToken)).all() == []


def test_a_sign_in_elsewhere_is_ended_from_here(app: FastAPI, sign_in: SignsIn, member: Person) -> None:
    elsewhere, here = sign_in(member), sign_in(member)
    with reading(app.state.engine) as session:
        first = min(session.exec(select(SignIn.id)).all())  # type: ignore[type-var]
    assert here.post(f"/account/sign-ins/{first}/end").status_code == 303
    assert elsewhere.get("/account").status_code == 303
    assert here.get("/account").status_code == 200


def test_nobody_ends_the_sign_in_of_another(
    app: FastAPI, steward_client: TestClient, member_client: TestClient, steward: Person
) -> None:
    with reading(app.state.engine) as session:
        theirs = session.exec(select(SignIn.id).where(SignIn.person_id == steward.id)).one()
    assert member_client.post(f"/account/sign-ins/{theirs}/end").status_code == 404
    assert steward_client.get("/account").status_code == 200
