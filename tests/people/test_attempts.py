"""The bound on attempts, which has to hold for all workers together."""

import threading
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.engine import Engine
from sqlmodel import Session, select

from server.db import reading, writing
from server.people import attempts
from server.people.attempts import PER_ADDRESS, PER_LOGIN, STRETCH, TooMany
from server.people.models import Attempts

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


def fill(session: Session, login: str = "ada", address: str = "a", times: int = PER_LOGIN) -> None:
    for _ in range(times):
        attempts.count(session, login, address, AT)


def test_the_eleventh_attempt_with_a_login_is_refused(session: Session) -> None:
    fill(session)
    with pytest.raises(TooMany, match="with this login") as refused:
        attempts.count(session, "ada", "another address", AT)
    assert refused.value.status == 429
    assert "15 minutes" in refused.value.fields["password"]


def test_another_login_is_not_touched_by_it(session: Session) -> None:
    fill(session)
    attempts.count(session, "ben", "a", AT)


def test_many_logins_from_one_address_are_refused(session: Session) -> None:
    for number in range(PER_ADDRESS):
        attempts.count(session, f"login{number}", "a", AT)
    with pytest.raises(TooMany, match="from this address"):
        attempts.count(session, "ada", "a", AT)
    attempts.count(session, "ada", "b", AT)


def test_a_quarter_of_an_hour_later_everything_is_forgotten(session: Session) -> None:
    fill(session)
    attempts.count(session, "ada", "a", AT + STRETCH)
    assert session.exec(select(Attempts.count)).all() == [1, 1]


def test_a_refused_attempt_does_not_make_the_wait_longer(session: Session) -> None:
    fill(session)
    with pytest.raises(TooMany):
        attempts.count(session, "ada", "a", AT + STRETCH - timedelta(seconds=1))
    attempts.count(session, "ada", "a", AT + STRETCH)


def test_the_right_password_forgives_the_attempts_with_its_login(session: Session) -> None:
    fill(session)
    attempts.forgive(session, "ada")
    attempts.count(session, "ada", "b", AT)


def test_what_was_typed_is_not_kept(session: Session) -> None:
    """A password typed into the field of the login must not end up in the database."""
    fill(session, login="my secret password", times=1)
    assert all(len(key) == 64 and "secret" not in key for key in session.exec(select(Attempts.key)).all())


def test_attempts_of_the_same_moment_see_each_other(engine: Engine) -> None:
    """Twice as many as are let through, all at once, each in a session of its own."""
    together, results = threading.Barrier(2 * PER_LOGIN), []

    def attempt() -> None:
        together.wait()
        try:
            with writing(engine) as session:
                attempts.count(session, "ada", "a", AT)
                session.commit()
            results.append("let through")
        except TooMany:
            results.append("refused")

    threads = [threading.Thread(target=attempt) for _ in range(2 * PER_LOGIN)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(results) == ["let through"] * PER_LOGIN + ["refused"] * PER_LOGIN
    with reading(engine) as session:
        assert session.exec(select(Attempts.count)).all() == [PER_LOGIN, PER_LOGIN]
