"""Who is asking: by cookie on pages, by token at the API, and nobody else."""

from collections.abc import Callable
from datetime import timedelta

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import now, reading, writing
from server.people import api_tokens, sign_ins
from server.people.guards import COOKIE, ApiPerson, CurrentPerson, Steward
from server.people.models import ApiToken, Person, SignIn
from tests.fixtures.people import browser

OPEN = {
    "/sign-in",
    "/invitation/{token}",
    "/due/{token}.ics",
    "/feeds/{token}.ics",
    "/api/v1/openapi.json",
}
"""What answers without knowing who asks."""
SignsIn = Callable[[Person], TestClient]
pytestmark = [
    pytest.mark.parametrize("database_url", ["sqlite"], indirect=True),
    pytest.mark.usefixtures("guarded"),
]


@pytest.fixture
def guarded(app: FastAPI) -> FastAPI:
    """The application, with a page for each guard."""

    @app.get("/for-people")
    def for_people(person: CurrentPerson) -> str:
        return person.name

    @app.get("/for-stewards")
    def for_stewards(person: Steward) -> str:
        return person.name

    @app.get("/api/v1/for-programs")
    def for_programs(person: ApiPerson) -> str:
        return person.name

    return app


def token_of(app: FastAPI, person: Person) -> str:
    with writing(app.state.engine) as session:
        _row, text = api_tokens.make(session, person, "logger", now())
        session.commit()
    return text


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def test_every_route_but_the_open_ones_wants_to_know_who_asks(app: FastAPI, client: TestClient) -> None:
    asked = 0
    for path, methods in _routes(app):
        for method in methods & {"GET", "POST", "PUT", "PATCH", "DELETE"}:
            answer = client.request(method, _filled(path))
            refused = answer.status_code == 401 or (
                answer.status_code == 303 and answer.headers["location"].startswith("/sign-in?next=")
            )
            assert refused, f"{method} {path} answered {answer.status_code}"
            asked += 1
    assert asked > 20


def _routes(app: FastAPI) -> list[tuple[str, set[str]]]:
    found = [(route.path or "", route.methods or set()) for route in iter_route_contexts(app.routes)]
    return [(path, methods) for path, methods in found if path not in OPEN]


def _filled(path: str) -> str:
    for name in ("slug", "token", "code"):
        path = path.replace(f"{{{name}}}", "x")
    return "/".join("1" if part.startswith("{") else part for part in path.split("/"))


def test_a_cookie_nobody_was_given_opens_nothing(client: TestClient) -> None:
    client.cookies.set(COOKIE, "guessed")
    answer = client.get("/for-people")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in?next=/for-people")


def test_who_is_signed_in_is_known(member_client: TestClient) -> None:
    assert member_client.get("/for-people").json() == "Ben Member"


def test_who_was_deactivated_is_out_at_once(
    guarded: FastAPI, member_client: TestClient, member: Person
) -> None:
    with writing(guarded.state.engine) as session:
        session.get_one(Person, member.id).active = False
        session.commit()
    assert member_client.get("/for-people").status_code == 303


def test_a_sign_in_that_has_expired_opens_nothing(guarded: FastAPI, member_client: TestClient) -> None:
    with writing(guarded.state.engine) as session:
        session.exec(sa.update(SignIn).values(expires_at=now() - timedelta(seconds=1)))
        session.commit()
    assert member_client.get("/for-people").status_code == 303


def test_only_stewards_pass_the_guard_of_stewards(
    member_client: TestClient, steward_client: TestClient
) -> None:
    assert steward_client.get("/for-stewards").json() == "Ada Steward"
    refused = member_client.get("/for-stewards")
    assert refused.status_code == 403
    assert "Only a steward" in refused.text


def test_a_program_is_known_by_its_token(guarded: FastAPI, client: TestClient, member: Person) -> None:
    token = token_of(guarded, member)
    assert client.get("/api/v1/for-programs", headers=bearer(token)).json() == "Ben Member"


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Authorization": ""},
        {"Authorization": "Bearer"},
        {"Authorization": "Bearer guessed"},
        {"Authorization": "Basic YWRhOmFkYQ=="},
    ],
)
def test_without_a_token_that_works_the_api_answers_401(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.get("/api/v1/for-programs", headers=headers)
    assert answer.status_code == 401
    assert "Authorization: Bearer" in answer.json()["error"]


def test_a_revoked_token_opens_nothing(guarded: FastAPI, client: TestClient, member: Person) -> None:
    token = token_of(guarded, member)
    with writing(guarded.state.engine) as session:
        row = session.exec(select(ApiToken)).one()
        api_tokens.revoke(session, member, member, row.id or 0, now())
        session.commit()
    assert client.get("/api/v1/for-programs", headers=bearer(token)).status_code == 401


def test_the_token_of_somebody_deactivated_opens_nothing(
    guarded: FastAPI, client: TestClient, member: Person
) -> None:
    token = token_of(guarded, member)
    with writing(guarded.state.engine) as session:
        session.get_one(Person, member.id).active = False
        session.commit()
    assert client.get("/api/v1/for-programs", headers=bearer(token)).status_code == 401


def test_a_cookie_does_not_open_the_api(member_client: TestClient) -> None:
    """Bearer requests are exempt from the origin guard, so nothing a browser sends by itself may do here."""
    assert member_client.get("/api/v1/for-programs").status_code == 401


def test_a_token_does_not_open_pages(guarded: FastAPI, client: TestClient, member: Person) -> None:
    assert client.get("/for-people", headers=bearer(token_of(guarded, member))).status_code == 303


def test_looking_at_a_page_writes_nothing_and_waits_for_no_writer(
    guarded: FastAPI, member_client: TestClient
) -> None:
    """A writer holds the database while the page is asked for."""
    with writing(guarded.state.engine) as other:
        other.exec(sa.update(Person).values(name=Person.name))
        assert member_client.get("/for-people").status_code == 200


def test_last_use_is_written_down_no_more_than_hourly(guarded: FastAPI, member_client: TestClient) -> None:
    def seen() -> object:
        with reading(guarded.state.engine) as session:
            return session.exec(select(SignIn.seen_at)).one()

    first = seen()
    member_client.get("/for-people")
    assert seen() == first
    aged = now() - sign_ins.SEEN_AGAIN
    with writing(guarded.state.engine) as session:
        session.exec(sa.update(SignIn).values(seen_at=aged))
        session.commit()
    assert member_client.get("/for-people").status_code == 200
    assert seen() > aged  # type: ignore[operator]


def test_use_of_a_token_is_written_down(guarded: FastAPI, client: TestClient, member: Person) -> None:
    token = token_of(guarded, member)
    client.get("/api/v1/for-programs", headers=bearer(token))
    with reading(guarded.state.engine) as session:
        used = session.exec(select(ApiToken.used_at)).one()
    assert used is not None
    assert now() - used < timedelta(minutes=1)


def test_a_busy_database_does_not_keep_anybody_out(
    guarded: FastAPI, client: TestClient, member: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The note of use is let go; the request is answered."""
    token = token_of(guarded, member)

    def busy(*_arguments: object) -> None:
        raise sa.exc.OperationalError("UPDATE", {}, Exception("database is locked"))

    monkeypatch.setattr(api_tokens, "used", busy)
    assert client.get("/api/v1/for-programs", headers=bearer(token)).json() == "Ben Member"


def test_one_browser_does_not_see_another(
    guarded: FastAPI, sign_in: SignsIn, steward: Person, member: Person
) -> None:
    ada, ben = sign_in(steward), sign_in(member)
    assert (ada.get("/for-people").json(), ben.get("/for-people").json()) == ("Ada Steward", "Ben Member")
    assert browser(guarded).get("/for-people").status_code == 303
