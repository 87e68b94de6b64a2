"""Coming in and going out, as a browser does it."""

from collections.abc import Callable
from http.cookies import Morsel, SimpleCookie

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import select

from server.db import reading
from server.people import attempts, passwords
from server.people.guards import COOKIE
from server.people.models import Person, SignIn
from tests.fixtures.people import PASSWORD, browser

SignsIn = Callable[[Person], TestClient]
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
RIGHT = {"login": "ada", "password": PASSWORD}


def cookie(answer: Response) -> "Morsel[str]":
    jar = SimpleCookie()
    for line in answer.headers.get_list("set-cookie"):
        jar.load(line)
    return jar[COOKIE]


@pytest.mark.usefixtures("steward")
def test_signing_in_leads_on_to_the_page_that_was_wanted(client: TestClient) -> None:
    asked = client.get("/sign-in", params={"next": "/laboratory"})
    assert 'value="/laboratory"' in asked.text
    answer = client.post("/sign-in", data={**RIGHT, "next": "/laboratory"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/laboratory")
    assert client.get("/laboratory").status_code == 200


@pytest.mark.usefixtures("steward")
@pytest.mark.parametrize(
    "wanted", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example"]
)
def test_signing_in_never_leads_elsewhere(client: TestClient, wanted: str) -> None:
    assert "elsewhere" not in client.get("/sign-in", params={"next": wanted}).text
    assert client.post("/sign-in", data={**RIGHT, "next": wanted}).headers["location"] == "/"


@pytest.mark.usefixtures("steward")
def test_over_http_the_cookie_is_out_of_reach_of_scripts_and_other_sites(client: TestClient) -> None:
    given = cookie(client.post("/sign-in", data=RIGHT))
    assert (given["httponly"], given["samesite"], given["path"]) == (True, "lax", "/")
    assert given["secure"] == ""
    assert int(given["max-age"]) == 14 * 24 * 3600


@pytest.mark.usefixtures("steward")
def test_over_https_the_cookie_is_sent_over_https_only(app: FastAPI) -> None:
    encrypted = browser(app, "https://testserver")
    given = cookie(encrypted.post("/sign-in", data=RIGHT))
    assert (given["secure"], given["httponly"], given["samesite"]) == (True, True, "lax")
    gone = cookie(encrypted.post("/sign-out"))
    assert (gone.value, gone["max-age"], gone["secure"]) == ("", "0", True)


@pytest.mark.usefixtures("steward")
def test_a_wrong_password_is_told_and_the_login_kept(client: TestClient) -> None:
    answer = client.post("/sign-in", data={"login": "ada", "password": "wrong", "next": "/people"})
    assert answer.status_code == 422
    assert "do not belong together" in answer.text
    assert 'value="ada"' in answer.text
    assert 'value="/people"' in answer.text
    assert "wrong" not in answer.text
    assert COOKIE not in answer.cookies


@pytest.mark.usefixtures("steward")
def test_the_eleventh_attempt_is_refused_even_with_the_right_password(client: TestClient) -> None:
    for _ in range(attempts.PER_LOGIN):
        assert client.post("/sign-in", data={"login": "ada", "password": "wrong"}).status_code == 422
    answer = client.post("/sign-in", data=RIGHT)
    assert answer.status_code == 429
    assert "Wait 15 minutes" in answer.text
    assert COOKIE not in answer.cookies


@pytest.mark.usefixtures("steward")
def test_a_token_planted_before_is_worth_nothing_after_signing_in(
    app: FastAPI, sign_in: SignsIn, member: Person
) -> None:
    planted = sign_in(member)
    victim = browser(app)
    victim.cookies.set(COOKIE, planted.cookies[COOKIE])
    victim.post("/sign-in", data=RIGHT)
    assert planted.get("/account").status_code == 303


def test_signing_out_ends_the_sign_in_in_the_database(app: FastAPI, steward_client: TestClient) -> None:
    stolen = browser(app)
    stolen.cookies.set(COOKIE, steward_client.cookies[COOKIE])
    assert steward_client.post("/sign-out").headers["location"] == "/sign-in"
    assert steward_client.get("/account").status_code == 303
    assert stolen.get("/account").status_code == 303
    with reading(app.state.engine) as session:
        assert session.exec(select(SignIn)).all() == []


def test_another_site_cannot_sign_anybody_in_or_out(app: FastAPI, steward_client: TestClient) -> None:
    elsewhere = {"Sec-Fetch-Site": "cross-site"}
    assert browser(app).post("/sign-in", data=RIGHT, headers=elsewhere).status_code == 403
    assert steward_client.post("/sign-out", headers=elsewhere).status_code == 403
    assert steward_client.get("/account").status_code == 200


def test_a_hash_that_has_aged_is_renewed_at_the_next_sign_in(
    app: FastAPI, client: TestClient, steward: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    right = passwords.check
    monkeypatch.setattr(passwords, "check", lambda typed, kept: (right(typed, kept)[0], "a newer hash"))
    assert client.post("/sign-in", data=RIGHT).status_code == 303
    with reading(app.state.engine) as session:
        assert session.get_one(Person, steward.id).password_hash == "a newer hash"


def test_before_the_first_account_the_page_says_how_to_make_one(client: TestClient) -> None:
    assert "coldstead steward" in client.get("/sign-in").text


@pytest.mark.usefixtures("steward")
@pytest.mark.parametrize(
    "typed",
    [
        {},
        {"login": "ada"},
        {"login": "a" * 100_000, "password": "b" * 100_000},
        {"login": "\x00", "password": "\x00"},
        {"login": "'; --", "password": "{{ 7*7 }}"},
        {"login": "<script>alert(1)</script>", "password": "x"},
    ],
)
def test_whatever_is_typed_is_refused_with_a_sentence(client: TestClient, typed: dict[str, str]) -> None:
    answer = client.post("/sign-in", data=typed)
    assert answer.status_code == 422
    assert "do not belong together" in answer.text
    assert "<script>alert" not in answer.text


def link(steward_client: TestClient, name: str = "Eve Newcomer") -> str:
    answer = steward_client.post("/people/invitations", data={"for_name": name})
    assert answer.status_code == 201
    assert answer.headers["cache-control"] == "no-store"
    return str(answer.text.split("http://testserver")[1].split("<")[0])


NEWCOMER = {
    "name": "Eve Newcomer",
    "login": "eve",
    "password": "another cold night",
    "again": "another cold night",
}


def test_an_invited_person_opens_the_link_and_is_in(app: FastAPI, steward_client: TestClient) -> None:
    address, newcomer = link(steward_client), browser(app)
    assert 'value="Eve Newcomer"' in newcomer.get(address).text
    answer = newcomer.post(address, data=NEWCOMER)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "Eve Newcomer" in newcomer.get("/account").text
    assert newcomer.get("/people").status_code == 403


def test_a_link_used_before_says_so(app: FastAPI, steward_client: TestClient) -> None:
    address = link(steward_client)
    browser(app).post(address, data=NEWCOMER)
    for answer in (browser(app).get(address), browser(app).post(address, data=NEWCOMER | {"login": "eva"})):
        assert answer.status_code == 410
        assert "used already" in answer.text
        assert "Ada Steward" in answer.text


def test_a_link_nobody_made_is_not_found(client: TestClient) -> None:
    assert client.get("/invitation/guessed").status_code == 404
    assert client.post("/invitation/guessed", data=NEWCOMER).status_code == 404


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"password": "short", "again": "short"}, "password"),
        ({"again": "another cold day"}, "again"),
        ({"login": "ADA LOVES COLD"}, "login"),
        ({"login": "ada"}, "login"),
        ({"name": ""}, "name"),
    ],
)
def test_what_is_to_mend_stands_at_its_field_and_the_link_still_works(
    app: FastAPI, steward_client: TestClient, typed: dict[str, str], field: str
) -> None:
    address, newcomer = link(steward_client), browser(app)
    answer = newcomer.post(address, data=NEWCOMER | typed)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    assert "short" not in answer.text
    assert newcomer.post(address, data=NEWCOMER).status_code == 303
