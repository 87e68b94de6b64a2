"""The record of who did what: written with the write it tells of, and never again touched."""

from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.db import reading, writing
from server.history import service
from server.people.service import CommandLine
from tests.factories import somebody

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


def test_the_newest_entry_about_a_thing_comes_first(session: Session) -> None:
    for hours, what in ((2, "second"), (1, "first"), (3, "third")):
        service.note(session, CommandLine(), "cryostat/bench-a", what, AT + timedelta(hours=hours))
    service.note(session, CommandLine(), "cryostat/bench-b", "elsewhere", AT)
    session.flush()
    assert [entry.what for entry in service.of(session, "cryostat/bench-a")] == ["third", "second", "first"]
    assert [entry.what for entry in service.of(session, "cryostat/bench-a", limit=1)] == ["third"]


def test_an_entry_keeps_the_name_as_it_was_then(session: Session) -> None:
    ada = somebody(session)
    session.flush()
    entry = service.note(session, ada, "x", "did it", AT, {"revision": 3})
    ada.name = "Somebody else"
    session.commit()
    assert (entry.person_name, entry.person_id, entry.detail) == ("Ada", ada.id, {"revision": 3})


def test_an_entry_falls_with_the_write_it_tells_of(engine: Engine) -> None:
    with writing(engine) as session:
        service.note(session, CommandLine(), "x", "never happened", AT)
        session.flush()
        session.rollback()
    with reading(engine) as session:
        assert service.of(session, "x") == []


@pytest.mark.parametrize("statement", ["UPDATE {} SET what = 'other'", "DELETE FROM {}"])
def test_the_database_refuses_to_alter_what_was_noted(
    engine: Engine, session: Session, statement: str
) -> None:
    entry = service.note(session, CommandLine(), "x", "did it", AT)
    session.commit()
    with engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.execute(sa.text(statement.format(entry.__tablename__)))
