"""The archive of plain files: what lies in it, that its sums hold, and that no secret does."""

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image

from server.bookings import feeds
from server.db import reading, writing
from server.files import store
from server.people import invitations, mailing
from server.people.models import Person
from tests.factories import a_bench, lid, token_of, wire

NOW = datetime(2026, 6, 1, 9, tzinfo=UTC)
ADDRESS = "/cryostats/bench-a/handover.zip"
SECRET = (
    "person.password_hash",
    "sign_in.key",
    "api_token.key",
    "api_token.prefix",
    "invitation.key",
    "feed_address.key",
    "mail_address.address",
)
"""Where the book keeps what opens something, and what is nobody else's."""
API = "/api/v1/cryostats/bench-a/handover"


@pytest.fixture
def kept(app: FastAPI, steward: Person, steward_client: TestClient) -> FastAPI:
    """Bench A with a loom and a photograph of it."""
    a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"), cooler=True)
    picture = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(picture, "PNG")
    sent = {"caption": "Round the mount", "kind": "photograph", "revision": "1"}
    files = {"files": ("mount.png", picture.getvalue(), "image/png")}
    answer = steward_client.post("/cryostats/bench-a/photographs", data=sent, files=files)
    assert answer.status_code == 303, answer.text
    return app


def _files(content: bytes) -> Mapping[str, bytes]:
    archive = zipfile.ZipFile(io.BytesIO(content))
    assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    return {name: archive.read(name) for name in archive.namelist()}


@pytest.mark.usefixtures("kept")
def test_every_file_is_plain_told_of_and_summed(steward_client: TestClient) -> None:
    answer = steward_client.get(ADDRESS)
    assert answer.headers["content-type"] == "application/zip"
    files = _files(answer.content)
    for name in ("configuration.json", "wire-list.csv", "heat-budget.csv", "wire-map.svg", "record.txt"):
        assert f"bench-a/exports/{name}" in files
        assert name in files["README.txt"].decode()
    lines = files["SHA256SUMS.txt"].decode().splitlines()
    sums = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    assert set(sums) == set(files) - {"SHA256SUMS.txt"}
    assert all(hashlib.sha256(files[name]).hexdigest() == digest for name, digest in sums.items())
    assert all(name.isascii() and ".." not in name and not name.startswith("/") for name in files)
    for name in files:
        if name.endswith(".csv"):
            rows = list(csv.reader(io.StringIO(files[name].decode("utf-8-sig"), newline="")))
            assert len({len(row) for row in rows}) == 1, name
        if name.endswith(".json"):
            assert json.loads(files[name])
    [picture] = [name for name in files if name.startswith("bench-a/pictures/")]
    assert picture.endswith(("01-round-the-mount.png", "01-round-the-mount.jpg"))
    assert Image.open(io.BytesIO(files[picture])).size == (40, 30)


@pytest.mark.usefixtures("kept")
def test_the_same_book_makes_the_same_names(steward_client: TestClient) -> None:
    first, second = (_files(steward_client.get(ADDRESS).content) for _ in range(2))
    assert list(first) == list(second)
    whole = _files(steward_client.get("/handover.zip").content)
    assert {name for name in first if name.startswith("bench-a/")} <= set(whole)


def test_no_secret_is_in_it(kept: FastAPI, steward: Person, steward_client: TestClient) -> None:
    """Every text of every table that holds secrets is looked for, in the archive and on the page."""
    engine = kept.state.engine
    secrets = [token_of(engine, steward)]
    with writing(engine) as session:
        secrets.append(feeds.make(session, steward, "cryostat", "bench-a", NOW)[1])
        secrets.append(invitations.invite(session, steward, "Somebody", NOW, timedelta(days=7)))
        mailing.set_address(session, steward, "ada@laboratory.example", NOW)
        session.commit()
    with reading(engine) as session:
        for column in SECRET:
            table, name = column.split(".")
            secrets += session.exec(sa.text(f"SELECT {name} FROM {table}")).scalars().all()  # type: ignore[call-overload]  # noqa: S608
    secrets = [str(text) for text in secrets if text]
    assert len(secrets) >= 6
    files = _files(steward_client.get("/handover.zip").content)
    page = steward_client.get("/handover/book").text
    for secret in secrets:
        assert secret not in page
        assert not [name for name, content in files.items() if secret.encode() in content]


def test_a_picture_that_cannot_be_read_is_told_and_the_rest_is_there(
    kept: FastAPI, steward_client: TestClient
) -> None:
    home = kept.state.settings.home
    for path in (home / store.FOLDER).rglob("*"):
        if path.is_file():
            path.unlink()
    files = _files(steward_client.get(ADDRESS).content)
    assert (
        "Could not be read and is not in it: bench-a/pictures/01-round-the-mount"
        in files["README.txt"].decode()
    )
    assert not any(name.startswith("bench-a/pictures/") for name in files)


def test_programs_of_stewards_take_it_and_nobody_elses(
    kept: FastAPI, steward: Person, member: Person, client: TestClient
) -> None:
    engine = kept.state.engine
    assert client.get(API).status_code == 401
    theirs = {"Authorization": f"Bearer {token_of(engine, member)}"}
    assert client.get(API, headers=theirs).status_code == 403
    assert client.get("/api/v1/handover", headers=theirs).status_code == 403
    ours = {"Authorization": f"Bearer {token_of(engine, steward)}"}
    answer = client.get(API, headers=ours)
    assert answer.headers["content-type"] == "application/zip"
    assert "bench-a/exports/configuration.json" in _files(answer.content)
    assert client.get("/api/v1/cryostats/nowhere/handover", headers=ours).status_code == 404
    assert client.get("/api/v1/handover", headers=ours).status_code == 200


@pytest.mark.usefixtures("kept")
def test_nothing_is_left_behind_on_the_disk(
    steward_client: TestClient, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    at = tmp_path_factory.mktemp("left")
    monkeypatch.setattr("tempfile.tempdir", str(at))
    assert steward_client.get(ADDRESS).status_code == 200
    assert not list(at.iterdir())
