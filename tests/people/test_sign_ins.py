"""Sign-ins: what a browser's token is worth, and for how long."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import Session, select

from server.errors import NotFound, Refused
from server.history.models import Entry
from server.people import sign_ins, tokens
from server.people.models import Person, SignIn
from server.people.service import CommandLine, enroll, set_active

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)
LASTS = timedelta(days=14)


def someone(session: Session, login: str = "ada") -> Person:
    made = enroll(
        session,
        CommandLine(),
        name=login.title(),
        login=login,
        password="a long cold night",
        at=AT,
    )
    session.flush()
    return made


def test_the_token_finds_its_person_until_it_expires(session: Session) -> None:
    ada = someone(session)
    token = sign_ins.begin(session, ada, AT, LASTS)
    found = sign_ins.find(session, token, AT + LASTS - timedelta(seconds=1))
    assert found is not None
    assert found[1].login == "ada"
    assert sign_ins.find(session, token, AT + LASTS) is None


@pytest.mark.parametrize("token", ["", "guessed", "x" * 10_000, "\x00", "é"])
def test_another_token_finds_nobody(session: Session, token: str) -> None:
    sign_ins.begin(session, someone(session), AT, LASTS)
    assert sign_ins.find(session, token, AT) is None


def test_only_a_hash_of_the_token_is_kept(session: Session) -> None:
    token = sign_ins.begin(session, someone(session), AT, LASTS)
    row = session.exec(select(SignIn)).one()
    assert row.key == tokens.key_of(token)
    assert token not in str(row.model_dump())
    assert sign_ins.find(session, row.key, AT) is None


def test_signing_in_makes_a_new_token_and_ends_the_one_the_browser_came_with(session: Session) -> None:
    """A token that somebody planted in the browser before is worth nothing afterwards."""
    ada, ben = someone(session), someone(session, "ben")
    planted = sign_ins.begin(session, ben, AT, LASTS)
    token = sign_ins.begin(session, ada, AT, LASTS, instead_of=planted)
    assert token != planted
    assert sign_ins.find(session, planted, AT) is None


def test_sign_ins_that_have_expired_are_cleared_away(session: Session) -> None:
    ada = someone(session)
    sign_ins.begin(session, ada, AT, LASTS)
    sign_ins.begin(session, ada, AT + LASTS, LASTS)
    assert len(session.exec(select(SignIn)).all()) == 1


def test_somebody_deactivated_is_not_signed_in(session: Session) -> None:
    ada, ben = someone(session), someone(session, "ben")
    token = sign_ins.begin(session, ben, AT, LASTS)
    ben.active = False
    session.flush()
    assert sign_ins.find(session, token, AT) is None
    ben.active = True
    session.flush()
    set_active(session, ada, ben.id or 0, False, AT)
    with pytest.raises(Refused):
        sign_ins.begin(session, ben, AT, LASTS)


def test_nobody_ends_the_sign_in_of_another(session: Session) -> None:
    ada, ben = someone(session), someone(session, "ben")
    token = sign_ins.begin(session, ada, AT, LASTS)
    found = sign_ins.find(session, token, AT)
    assert found is not None
    with pytest.raises(NotFound):
        sign_ins.end(session, ben, found[0].id or 0, AT)
    assert sign_ins.find(session, token, AT) is not None
    sign_ins.end(session, ada, found[0].id or 0, AT)
    assert sign_ins.find(session, token, AT) is None


def test_coming_and_going_stand_in_the_history(session: Session) -> None:
    ada = someone(session)
    sign_ins.begin(session, ada, AT, LASTS)
    sign_ins.end(session, ada, session.exec(select(SignIn)).one().id or 0, AT)
    session.flush()
    told = [(row.person_name, row.subject, row.what) for row in session.exec(select(Entry)).all()]
    assert told[-2:] == [("Ada", "person/ada", "Signed in"), ("Ada", "person/ada", "Signed out")]
