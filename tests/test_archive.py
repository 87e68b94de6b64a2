"""Backup while somebody writes, and restore, on the same engine and on the other."""

import json
import shutil
import threading
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Engine
from sqlmodel import Session, select

from server import archive, tables
from server.archive import read_archive, write_archive
from server.cautions.service import seed
from server.cryostats import contents, guards, instruments
from server.db import make_engine, now, reading, writing
from server.laboratory.service import set_up
from server.people import api_tokens
from server.people.models import Person
from server.settings import Settings
from tests.factories import AT, a_cooler, a_cryostat, lid, logged, somebody, wire

Rows = dict[str, list[dict[str, Any]]]


def archived(chosen: Settings, to: Path) -> Path:
    """The archive of a book, written."""
    write_archive(chosen, to)
    return to


@pytest.fixture
def chosen(database_url: str, engine: Engine, tmp_path: Path) -> Settings:
    """Books with something in most tables."""
    with writing(engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        ada = somebody(session)
        bench = a_cryostat(session)
        logged(session, ada, bench, wire(note="Zoë – “odd”, 2 µm"), lid(), wire("out"))
        a_cooler(session, bench)
        logged(session, ada, bench, wire(count=12, current_A=None), remove=["out"])
        instruments.enter_state(session, ada, bench, "cold", AT, "", AT)
        instruments.give_grade(session, ada, bench, somebody(session, "ben", steward=False), 3, AT)
        api_tokens.make(session, ada, "logger", now())
        session.commit()
    return Settings(home=tmp_path / "here", database_url=database_url)


def everything(url: str) -> Rows:
    """Every row of every table, as Python reads it."""
    engine = make_engine(url)
    with engine.connect() as connection:
        found = {
            table.name: [
                dict(row) for row in connection.execute(sa.select(table).order_by(table.c[0])).mappings()
            ]
            for table in tables.metadata.sorted_tables
        }
    engine.dispose()
    return found


def ada_of(session: Session) -> Person:
    return session.exec(select(Person).where(Person.login == "ada")).one()


def elsewhere(tmp_path: Path, url: str = "") -> Settings:
    return Settings(home=tmp_path / "there", database_url=url)


@pytest.fixture(params=["the same engine", "the other engine"])
def target(request: pytest.FixtureRequest, database_url: str, tmp_path: Path) -> Settings:
    """An empty installation."""
    on_postgres = database_url.startswith("postgresql")
    if on_postgres == (request.param == "the other engine"):
        return elsewhere(tmp_path)
    return elsewhere(tmp_path, str(request.getfixturevalue("empty_postgres_url")))


def test_every_row_comes_back_on_either_engine(chosen: Settings, target: Settings, tmp_path: Path) -> None:
    before = everything(chosen.url)
    assert sum(map(len, before.values())) > 30
    read_archive(target, archived(chosen, tmp_path / "books.zip"))
    assert everything(target.url) == before


def test_what_came_back_can_be_carried_on_and_still_refuses_to_be_rewritten(
    chosen: Settings, target: Settings, tmp_path: Path
) -> None:
    read_archive(target, archived(chosen, tmp_path / "books.zip"))
    engine = make_engine(target.url)
    with writing(engine) as session:
        ada = ada_of(session)
        made = logged(session, ada, guards.find(session, "bench-a"), wire("third"))
        assert made.revision.number == 3
        session.commit()
    with engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.execute(sa.text("UPDATE revision SET reason = 'other'"))
    engine.dispose()


@contextmanager
def busy(engine: Engine) -> Iterator[list[int]]:
    """While this is open somebody logs one change after the other; their numbers."""
    over = threading.Event()
    written: list[int] = []

    def write() -> None:
        while not over.is_set():
            with writing(engine) as session:
                bench = guards.find(session, "bench-a", lock=True)
                row = wire(count=12 + bench.revision)
                written.append(logged(session, ada_of(session), bench, row).revision.number)
                session.commit()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while not written:
            assert writer.is_alive()
        yield written
    finally:
        over.set()
        writer.join(20)


def test_an_archive_taken_while_somebody_writes_holds_no_half_of_a_change(
    chosen: Settings, engine: Engine, tmp_path: Path
) -> None:
    with busy(engine) as written:
        archives = [archived(chosen, tmp_path / f"{number}.zip") for number in range(3)]
    assert len(written) > 2, "somebody did write"
    for number, source in enumerate(archives):
        there = Settings(home=tmp_path / f"there-{number}", database_url="")
        read_archive(there, source)
        whole(there)


def whole(chosen: Settings) -> None:
    """No half of a change: the loom counts the revision, and every revision has its rows and its budget."""
    engine = make_engine(chosen.url)
    with reading(engine) as session:
        bench = guards.find(session, "bench-a")
        found = contents.elements(session, bench, bench.revision)
        assert found["loom"].data["count"] == (11 + bench.revision if bench.revision > 2 else 12)
    engine.dispose()
    rows = everything(chosen.url)
    assert [row["number"] for row in rows["revision"]] == list(range(1, bench.revision + 1))
    assert rows["heat_budget"][-1]["revision"] == bench.revision


def test_books_that_hold_something_are_not_written_over(chosen: Settings, tmp_path: Path) -> None:
    before = everything(chosen.url)
    source = archived(chosen, tmp_path / "books.zip")
    with pytest.raises(ValueError, match="something in this database already"):
        read_archive(chosen, source)
    assert everything(chosen.url) == before


def test_an_unfinished_archive_never_bears_the_final_name(
    chosen: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(archive, "_line", broken)
    with pytest.raises(OSError, match="full"):
        archived(chosen, tmp_path / "books.zip")
    assert not (tmp_path / "books.zip").exists()


def foreign(tmp_path: Path, about: Any = None, **files: str) -> Path:
    path = tmp_path / "foreign.zip"
    with zipfile.ZipFile(path, "w") as made:
        if about is not None:
            made.writestr("about.json", about if isinstance(about, str) else json.dumps(about))
        for name, content in files.items():
            made.writestr(f"tables/{name}.jsonl", content)
    return path


OURS = {"format": "coldstead-archive-1", "made_at": "2026-03-14T11:20:00+00:00", "schema": "0001"}


@pytest.mark.parametrize(
    "about",
    [None, "{", [], {}, {"format": "another"}, {**OURS, "schema": "9999"}, {**OURS, "schema": None}],
)
def test_a_foreign_archive_is_refused_and_nothing_is_made(tmp_path: Path, about: Any) -> None:
    there = elsewhere(tmp_path)
    with pytest.raises(ValueError, match=r"archive|later program|Expecting"):
        read_archive(there, foreign(tmp_path, about))
    assert not there.home.exists()


def test_what_is_no_zip_is_refused(tmp_path: Path) -> None:
    (tmp_path / "no.zip").write_text("books")
    with pytest.raises(ValueError, match="not an archive"):
        read_archive(elsewhere(tmp_path), tmp_path / "no.zip")


def test_an_archive_with_broken_rows_leaves_nothing_behind(tmp_path: Path) -> None:
    there = elsewhere(tmp_path)
    for broken in ('{"id": 1, "login": "ada"}\n', '{"no_such_column": 1}\n', "not json\n", "[1]\n"):
        with pytest.raises(ValueError, match="row"):
            read_archive(there, foreign(tmp_path, OURS, person=broken))
        tables.upgrade(there.url)
        assert not any(everything(there.url).values())
        shutil.rmtree(there.home)


def test_books_of_another_schema_are_left_as_they_were(tmp_path: Path) -> None:
    """An archive of the first schema must neither skip the steps between nor migrate what it refuses."""
    there = elsewhere(tmp_path)
    there.home.mkdir(parents=True)
    tables.upgrade(there.url)
    with pytest.raises(ValueError, match="schema"):
        read_archive(there, foreign(tmp_path, OURS))


def test_an_archive_of_an_earlier_schema_is_brought_up_to_this_one(tmp_path: Path, database_url: str) -> None:
    """Written under the first schema, where later tables were not there yet."""
    assert database_url
    there = elsewhere(tmp_path)
    laboratory = {"id": 1, "name": "Old", "zone": "UTC"}
    engine = make_engine(f"sqlite:///{tmp_path / 'old.db'}")
    tables.upgrade(str(engine.url), "0001")
    with engine.connect() as connection:
        columns = {row["name"]: row for row in sa.inspect(connection).get_columns("laboratory")}
    engine.dispose()
    for name, column in columns.items():
        if name not in laboratory and not column["nullable"]:
            laboratory[name] = [] if "JSON" in str(column["type"]) else "08:00:00"
    read_archive(there, foreign(tmp_path, OURS, laboratory=json.dumps(laboratory) + "\n"))
    assert everything(there.url)["laboratory"][0]["name"] == "Old"
