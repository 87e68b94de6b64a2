"""Login and password: who gets in, and what nobody has to wait for."""

from datetime import UTC, datetime

import pytest
from sqlalchemy.engine import Engine
from sqlmodel import select

from server.db import reading, writing
from server.errors import Refused
from server.history.models import Entry
from server.people import attempts, door, passwords
from server.people.attempts import TooMany
from server.people.models import Attempts, Person
from tests.fixtures.people import PASSWORD, make_person

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


def test_login_and_password_together_are_recognised(engine: Engine) -> None:
    make_person(engine, "ada", "Ada")
    found, newer = door.recognise(engine, " ADA ", PASSWORD, "a", AT)
    assert (found.name, newer) == ("Ada", None)


@pytest.mark.parametrize(("login", "password"), [("ada", "another night"), ("eve", PASSWORD), ("", "")])
def test_a_wrong_one_of_the_two_gets_the_same_answer(engine: Engine, login: str, password: str) -> None:
    make_person(engine, "ada", "Ada")
    with pytest.raises(Refused, match="do not belong together") as refused:
        door.recognise(engine, login, password, "a", AT)
    assert set(refused.value.fields) == {"password"}


def test_somebody_deactivated_gets_the_answer_of_a_wrong_password(engine: Engine) -> None:
    ada = make_person(engine, "ada", "Ada")
    with writing(engine) as session:
        session.get_one(Person, ada.id).active = False
        session.commit()
    with pytest.raises(Refused, match="do not belong together"):
        door.recognise(engine, "ada", PASSWORD, "a", AT)


def test_an_attempt_counts_though_it_failed(engine: Engine) -> None:
    with pytest.raises(Refused):
        door.recognise(engine, "ada", "wrong", "a", AT)
    with reading(engine) as session:
        assert session.exec(select(Attempts.count)).all() == [1, 1]


def test_after_too_many_attempts_the_right_password_has_to_wait_too(engine: Engine) -> None:
    make_person(engine, "ada", "Ada")
    for _ in range(attempts.PER_LOGIN):
        with pytest.raises(Refused):
            door.recognise(engine, "ada", "wrong", "a", AT)
    with pytest.raises(TooMany):
        door.recognise(engine, "Ada", PASSWORD, "a", AT)
    assert door.recognise(engine, "ada", PASSWORD, "a", AT + attempts.STRETCH)


def test_nobody_waits_for_the_database_while_a_password_is_looked_at(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_person(engine, "ada", "Ada")

    def check_while_another_writes(_password: str, _kept: str | None) -> tuple[bool, None]:
        with writing(engine) as other:
            other.add(Entry(at=AT, person_name="Ben", subject="s", what="wrote meanwhile"))
            other.commit()
        return True, None

    monkeypatch.setattr(passwords, "check", check_while_another_writes)
    assert door.recognise(engine, "ada", PASSWORD, "a", AT)
