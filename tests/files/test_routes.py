"""Files as a browser gets them: to people who are signed in, and so that nothing in them can run."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.db import writing
from server.files import routes, service, store
from server.files.pictures import PDF, Clean
from server.web import problems

AT = datetime(2026, 3, 14, tzinfo=UTC)
Keep = Callable[[Clean], str]


@pytest.fixture
def keep(app: FastAPI) -> Keep:
    """Keeps a file and says its digest."""

    def kept(cleaned: Clean) -> str:
        with writing(app.state.engine) as session:
            digest = service.keep(session, app.state.settings.home, cleaned, AT).digest
            session.commit()
        return digest

    return kept


def test_a_picture_comes_with_a_policy_under_which_nothing_runs(
    member_client: TestClient, keep: Keep
) -> None:
    answer = member_client.get(f"/files/{keep(Clean(b'picture', 'image/jpeg', 8, 6, b'small'))}")
    assert (answer.status_code, answer.content) == (200, b"picture")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["content-disposition"].startswith("inline; filename=")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "sandbox" in policy
    assert "script-src" not in policy
    assert answer.headers["cache-control"] == "private, no-cache"


def test_the_small_one_is_a_jpeg_whatever_the_large_one_is(member_client: TestClient, keep: Keep) -> None:
    keep(Clean(b"picture", "image/png", 8, 6, b"small"))
    answer = member_client.get(f"/files/{store.digest_of(b'small')}")
    assert (answer.content, answer.headers["content-type"]) == (b"small", "image/jpeg")


def test_a_document_is_only_handed_over_to_be_kept(member_client: TestClient, keep: Keep) -> None:
    answer = member_client.get(f"/files/{keep(Clean(b'%PDF', PDF))}")
    assert answer.headers["content-disposition"].startswith("attachment;")


def test_who_is_not_signed_in_gets_nothing(client: TestClient, keep: Keep) -> None:
    answer = client.get(f"/files/{keep(Clean(b'picture', 'image/jpeg', 8, 6, b'small'))}")
    assert answer.status_code == 303
    assert b"picture" not in answer.content


def test_a_browser_that_has_it_is_told_so_only_while_somebody_is_signed_in(
    member_client: TestClient, client: TestClient, keep: Keep
) -> None:
    address = f"/files/{keep(Clean(b'picture', 'image/jpeg', 8, 6, b'small'))}"
    mark = {"If-None-Match": member_client.get(address).headers["etag"]}
    assert member_client.get(address, headers=mark).status_code == 304
    assert client.get(address, headers=mark).status_code == 303


@pytest.mark.parametrize("name", ["a" * 64, "A" * 64, "%00", "..%2F..%2Fcoldstead.db", "coldstead.db"])
def test_what_is_not_in_the_book_is_not_found(member_client: TestClient, name: str) -> None:
    assert member_client.get(f"/files/{name}").status_code == 404


def test_a_file_gone_from_the_folder_is_said_to_be_gone(
    app: FastAPI, member_client: TestClient, keep: Keep
) -> None:
    digest = keep(Clean(b"picture", "image/jpeg", 8, 6, b"small"))
    store.place(app.state.settings.home, digest).unlink()
    answer = member_client.get(f"/files/{digest}")
    assert answer.status_code == 404
    assert "folder of files" in answer.text


def test_without_the_guard_before_it_the_room_lets_nobody_in(app: FastAPI, keep: Keep) -> None:
    bare = FastAPI()
    bare.state.engine, bare.state.settings = app.state.engine, app.state.settings
    bare.include_router(routes.router)
    problems.install(bare)
    with TestClient(bare, follow_redirects=False) as anybody:
        answer = anybody.get(f"/files/{keep(Clean(b'picture', 'image/jpeg', 8, 6, b'small'))}")
    assert answer.status_code == 303
    assert b"picture" not in answer.content
