"""Tokens of programs."""

from datetime import UTC, datetime

import pytest
from sqlalchemy.engine import Engine
from sqlmodel import Session, col, select

from server.errors import NotFound, Refused
from server.history.models import Entry
from server.people import api_tokens
from server.people.models import Person
from tests.fixtures.people import make_person

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


@pytest.fixture
def ada(engine: Engine) -> Person:
    return make_person(engine, "ada", "Ada")


def test_a_token_finds_its_owner_until_it_is_revoked(session: Session, ada: Person) -> None:
    row, text = api_tokens.make(session, ada, "logger", AT)
    found = api_tokens.find(session, text)
    assert found is not None
    assert found[1].login == "ada"
    api_tokens.revoke(session, ada, ada, row.id or 0, AT)
    assert api_tokens.find(session, text) is None
    assert api_tokens.of(session, ada) == []


def test_only_a_hash_and_the_first_letters_are_kept(session: Session, ada: Person) -> None:
    row, text = api_tokens.make(session, ada, "logger", AT)
    assert text.startswith(row.prefix)
    assert len(row.prefix) == len("coldstead_") + 6
    assert text not in str(row.model_dump())
    assert api_tokens.find(session, row.key) is None
    assert api_tokens.find(session, row.prefix) is None


def test_nobody_revokes_a_token_as_if_it_were_theirs(session: Session, ada: Person, engine: Engine) -> None:
    row, text = api_tokens.make(session, ada, "logger", AT)
    session.commit()
    ben = make_person(engine, "ben", "Ben")
    with pytest.raises(NotFound):
        api_tokens.revoke(session, ben, ben, row.id or 0, AT)
    assert api_tokens.find(session, text)


def test_a_token_is_revoked_once(session: Session, ada: Person) -> None:
    row, _text = api_tokens.make(session, ada, "logger", AT)
    api_tokens.revoke(session, ada, ada, row.id or 0, AT)
    with pytest.raises(NotFound):
        api_tokens.revoke(session, ada, ada, row.id or 0, AT)


def test_tokens_come_and_go_in_the_history(session: Session, ada: Person) -> None:
    row, text = api_tokens.make(session, ada, "logger", AT)
    api_tokens.revoke(session, ada, ada, row.id or 0, AT)
    session.flush()
    entries = session.exec(select(Entry).order_by(col(Entry.id))).all()[-2:]
    assert [entry.what for entry in entries] == ["Token “logger” made", "Token “logger” revoked"]
    assert all(text not in str(entry.model_dump()) for entry in entries)


def test_a_token_needs_a_name(session: Session, ada: Person) -> None:
    with pytest.raises(Refused) as refused:
        api_tokens.make(session, ada, "", AT)
    assert set(refused.value.fields) == {"token_name"}


def test_there_is_an_end_to_tokens(session: Session, ada: Person) -> None:
    for number in range(api_tokens.MOST):
        api_tokens.make(session, ada, f"logger {number}", AT)
    with pytest.raises(Refused, match="not made"):
        api_tokens.make(session, ada, "one more", AT)
