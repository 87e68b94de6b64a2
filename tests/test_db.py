"""Sessions: what is committed when, and what two writers do to each other."""

import threading
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta, timezone
from typing import get_args

import anyio
import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from sqlalchemy.engine import Engine
from sqlmodel import select
from starlette.types import Message, Receive, Scope, Send

from server.db import ReadSession, WriteSession, reading, writing
from server.history.models import Entry

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


def entry(what: str = "looked") -> Entry:
    return Entry(at=AT, person_name="Ada", subject="bench", what=what)


def test_a_write_is_committed_before_the_answer_leaves(engine: Engine) -> None:
    app = FastAPI()
    app.state.engine = engine
    seen: list[tuple[str, int]] = []

    @app.post("/")
    def write(session: WriteSession) -> str:
        session.add(entry())
        session.flush()
        return "done"

    async def send(message: Message) -> None:
        with reading(engine) as other:
            seen.append((message["type"], len(other.exec(select(Entry)).all())))

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "path": "/",
        "raw_path": b"/",
        "query_string": b"",
        "headers": [],
        "scheme": "http",
        "server": ("test", 80),
        "client": ("test", 1),
    }
    run(app, scope, receive, send)
    assert seen[0] == ("http.response.start", 1)


def run(app: FastAPI, scope: Scope, receive: Receive, send: Send) -> None:
    anyio.run(app, scope, receive, send)


def test_an_exception_in_the_route_stores_nothing(engine: Engine) -> None:
    from server.db import write_session

    class Request:
        app = type("App", (), {"state": type("State", (), {"engine": engine})})

    dependency = contextmanager(write_session)
    with pytest.raises(RuntimeError), dependency(Request) as session:  # type: ignore[arg-type]  # noqa: PT012
        session.add(entry())
        session.flush()
        raise RuntimeError("broken")
    with reading(engine) as other:
        assert other.exec(select(Entry)).all() == []


def test_a_second_writer_waits_for_the_first(engine: Engine) -> None:
    """Look, then insert: without BEGIN IMMEDIATE the second writer of SQLite fails at once."""
    if engine.dialect.name != "sqlite":
        pytest.skip("PostgreSQL locks the row it reads for update instead")
    looked, faults = threading.Barrier(2, timeout=2), []

    def look_then_insert(name: str) -> None:
        try:
            with writing(engine) as session:
                count = len(session.exec(select(Entry)).all())
                with suppress(threading.BrokenBarrierError):
                    looked.wait(timeout=0.3)
                session.add(entry(f"{name} saw {count}"))
                session.commit()
        except sa.exc.OperationalError as fault:
            faults.append(fault)

    both = [threading.Thread(target=look_then_insert, args=(name,)) for name in "AB"]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    assert faults == []
    with reading(engine) as session:
        assert sorted(row.what[-1] for row in session.exec(select(Entry)).all()) == ["0", "1"]


def test_a_moment_comes_back_as_the_moment_it_was(engine: Engine) -> None:
    """SQLite's own type drops the offset in silence, two hours wrong in summer."""
    summer = timezone(timedelta(hours=2))
    with writing(engine) as session:
        session.add(Entry(at=datetime(2026, 6, 1, 12, tzinfo=summer), person_name="A", subject="s", what="w"))
        session.commit()
    with reading(engine) as session:
        assert session.exec(select(Entry.at)).one() == datetime(2026, 6, 1, 10, tzinfo=UTC)


def test_a_moment_without_a_zone_is_refused(engine: Engine) -> None:
    with writing(engine) as session:
        session.add(Entry(at=datetime(2026, 6, 1, 12), person_name="A", subject="s", what="w"))  # noqa: DTZ001
        with pytest.raises(sa.exc.StatementError, match="without a zone"):
            session.flush()


@pytest.mark.parametrize("statement", ["UPDATE history_entry SET what = 'x'", "DELETE FROM history_entry"])
def test_the_database_itself_refuses_to_rewrite_history(engine: Engine, statement: str) -> None:
    with writing(engine) as session:
        session.add(entry())
        session.commit()
    with writing(engine) as session, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        session.connection().execute(sa.text(statement))


def test_reading_goes_on_beside_an_open_writer(engine: Engine) -> None:
    with writing(engine) as writer:
        writer.add(entry())
        writer.flush()
        with reading(engine) as reader:
            assert reader.exec(select(Entry)).all() == []


def test_both_kinds_of_session_are_dependencies_that_end_with_the_function() -> None:
    for kind in (ReadSession, WriteSession):
        _, dependency = get_args(kind)
        assert dependency.scope == "function"
