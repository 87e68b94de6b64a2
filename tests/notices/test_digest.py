"""The letter of the day: asked for, written once however many write at once, handed over once.

The other side is the general test server of the tests' group; what it is told is RFC 5321.
"""

import threading
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy.engine import Engine
from sqlmodel import select

from server.db import reading, writing
from server.faults import service as faults
from server.laboratory.service import set_up
from server.mail.models import Letter
from server.notices import digest, service
from server.notices.models import DigestTurn
from server.people import mailing
from server.people.models import Person
from tests.factories import a_cryostat, somebody
from tests.mail.test_sender import Box, listening

EARLY = datetime(2026, 3, 16, 6, 59, tzinfo=UTC)
"""07:59 in the laboratory, which opens at eight."""
OPEN = EARLY + timedelta(minutes=1)
PEOPLE = ("ada", "ben", "cleo")


@pytest.fixture
def people(engine: Engine) -> list[int]:
    """Three stewards who asked for the letter, and a fault that nobody explained."""
    with writing(engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        made = [somebody(session, login) for login in PEOPLE]
        cryostat = a_cryostat(session)
        faults.report(session, made[0], cryostat.id, "Frost on the can", "Can", EARLY)
        for person in made:
            mailing.set_address(session, person, f"{person.login}@example.org", EARLY)
            digest.choose(session, person, True, EARLY)
        session.commit()
        return [person.id or 0 for person in made]


def letters(engine: Engine) -> list[Letter]:
    with reading(engine) as session:
        return list(session.exec(select(Letter)).all())


@pytest.mark.usefixtures("people")
def test_nobody_gets_a_letter_before_the_laboratory_opens_and_one_a_day_after(engine: Engine) -> None:
    assert digest.write_due(engine, EARLY) == 0
    assert digest.write_due(engine, OPEN) == 3
    assert digest.write_due(engine, OPEN + timedelta(hours=9)) == 0
    assert digest.write_due(engine, OPEN + timedelta(days=1)) == 3
    body = letters(engine)[0].body
    assert "Frost on the can" in body
    assert "/faults/1" in body


def test_who_wants_none_has_no_address_or_has_left_gets_none(engine: Engine, people: list[int]) -> None:
    with writing(engine) as session:
        first, second, third = (session.get(Person, key) for key in people)
        assert first is not None
        assert second is not None
        assert third is not None
        digest.choose(session, first, False, OPEN)
        mailing.set_address(session, second, "", OPEN)
        third.active = False
        session.commit()
    assert digest.write_due(engine, OPEN) == 0
    assert letters(engine) == []


def test_a_day_without_notices_has_no_letter(engine: Engine) -> None:
    with writing(engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        person = somebody(session)
        mailing.set_address(session, person, "ada@example.org", EARLY)
        digest.choose(session, person, True, EARLY)
        session.commit()
    assert digest.write_due(engine, OPEN) == 0
    with reading(engine) as session:
        assert [row.lines for row in session.exec(select(DigestTurn)).all()] == [0]


@pytest.mark.usefixtures("people")
def test_two_who_looked_at_the_same_time_write_one_letter_each_person(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both have seen that nobody had today's letter before either writes; the database takes one."""
    both = threading.Barrier(2)
    waiting = digest._waiting

    def together(*looked: object) -> object:
        found = waiting(*looked)  # type: ignore[arg-type]
        both.wait(10)
        return found

    monkeypatch.setattr(digest, "_waiting", together)
    with ThreadPoolExecutor(2) as pool:
        written = list(pool.map(lambda _: digest.write_due(engine, OPEN), range(2)))
    assert sum(written) == 3
    assert sorted(row.to_address for row in letters(engine)) == [f"{login}@example.org" for login in PEOPLE]


@pytest.mark.usefixtures("people")
def test_two_workers_and_the_command_at_once_hand_each_letter_over_once(engine: Engine) -> None:
    box = Box()
    with listening(box) as chosen, ThreadPoolExecutor(3) as pool:
        work: list[Future[Any]] = [
            pool.submit(digest.scheduled, engine, chosen, lambda: OPEN, "first"),
            pool.submit(digest.scheduled, engine, chosen, lambda: OPEN, "second"),
            pool.submit(digest.remind, engine, chosen, lambda: OPEN),
        ]
        for one in work:
            one.result()
        digest.remind(engine, chosen, lambda: OPEN + timedelta(minutes=1))
    assert sorted(row.rcpt_tos[0] for row in box.taken) == [f"{login}@example.org" for login in PEOPLE]


def test_the_letter_says_what_the_page_says(engine: Engine, people: list[int]) -> None:
    with reading(engine) as session:
        person = session.get(Person, people[0])
        assert person is not None
        rows = service.for_person(session, person, OPEN)
    body = digest.text(rows)
    assert all(row.what in body and row.address in body for row in rows)
