"""Two people store the same at the same moment: one is first, the other is told so, and nothing breaks.

On PostgreSQL the second looks before the first has committed, and meets the key only when it stores. On
SQLite the second waits before it looks. The test holds the first until the second waits.
"""

from collections.abc import Callable
from pathlib import Path
from threading import Thread

import pytest
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.cryostats import instruments, parts
from server.cryostats.instruments import About
from server.cryostats.part_rules import Described
from server.db import writing
from server.errors import Conflict, Problem, Refused
from server.files import service as files
from server.files.pictures import Clean
from server.laboratory import orders
from server.people.service import CommandLine
from tests.factories import AT, EVERY_STAGE, apart, somebody

Act = Callable[[Session], object]


def at_once(engine: Engine, act: Act) -> object:
    """What the second is told while the first has stored and not yet committed: an answer, or a problem."""
    told: list[object] = []

    def second() -> None:
        with writing(engine) as session:
            try:
                told.append(act(session))
                session.commit()
            except Problem as problem:
                told.append(problem)

    with writing(engine) as session:
        act(session)
        other = Thread(target=second)
        other.start()
        other.join(timeout=0.5)
        assert other.is_alive(), "the second did not wait for the first"
        session.commit()
    other.join()
    return told[0]


def test_two_cryostats_of_one_name(engine: Engine) -> None:
    about = About("Bench A", "Cellar", EVERY_STAGE, {})
    told = at_once(engine, lambda session: instruments.make(session, CommandLine(), about, AT).slug)
    assert told == "bench-a-2" or isinstance(told, Conflict)


def test_the_same_picture_twice(engine: Engine, tmp_path: Path) -> None:
    cleaned = Clean(b"pixels", "image/png", 1, 1)
    told = at_once(engine, lambda session: files.keep(session, tmp_path, cleaned, AT).id)
    with writing(engine) as session:
        assert told == files.keep(session, tmp_path, cleaned, AT).id


def test_two_standing_orders_after_the_same_one(engine: Engine) -> None:
    told = at_once(
        engine, lambda session: orders.write(session, CommandLine(), "laboratory", "Gloves", 0, AT).number
    )
    assert isinstance(told, Conflict)
    assert "version 1" in told.message


def test_two_parts_of_one_tag(engine: Engine) -> None:
    with writing(engine) as session:
        ada = somebody(session)
        session.commit()
        apart(session, ada)
    said = Described("loom-03", "loom", "Twelve pairs")
    told = at_once(engine, lambda session: parts.enter(session, ada, said, AT, AT.date()).id)
    assert isinstance(told, Conflict | Refused)
    assert "loom-03" in (told.message + str(told.fields))


@pytest.mark.postgres
def test_without_the_guard_the_second_would_break(postgres_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The key itself answers, and only where nobody turns its word into a sentence."""
    from sqlalchemy.exc import IntegrityError

    from server.db import make_engine

    monkeypatch.setattr(orders, "IntegrityError", ZeroDivisionError)
    broken: list[BaseException] = []

    def act(session: Session) -> object:
        try:
            return orders.write(session, CommandLine(), "laboratory", "Gloves", 0, AT)
        except IntegrityError as problem:
            broken.append(problem)
            raise Conflict("") from problem

    engine = make_engine(postgres_url)
    at_once(engine, act)
    engine.dispose()
    assert broken
