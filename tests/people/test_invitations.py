"""Links that work once."""

import threading
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.engine import Engine
from sqlmodel import Session, select

from server.db import reading, writing
from server.errors import NotFound, Refused
from server.history.models import Entry
from server.people import invitations, passwords, service, sign_ins
from server.people.invitations import Over
from server.people.models import Invitation, Person, SignIn
from tests.fixtures.people import make_person

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)
WEEK = timedelta(days=7)
PASSWORD = "another cold night"


@pytest.fixture
def ada(engine: Engine) -> Person:
    return make_person(engine, "ada", "Ada", steward=True)


def accept(session: Session, token: str, login: str = "ben", at: datetime = AT) -> Person:
    invitation, whose = invitations.find(session, token, at)
    return invitations.accept(
        session,
        invitation,
        whose,
        login=login,
        name="Ben",
        password=PASSWORD,
        at=at,
    )


def test_an_invited_person_makes_an_account(session: Session, ada: Person) -> None:
    made = accept(session, invitations.invite(session, ada, "Ben", AT, WEEK))
    assert (made.login, made.steward, made.active) == ("ben", False, True)
    assert passwords.check(PASSWORD, made.password_hash)[0]


def test_making_and_using_a_link_stand_in_the_history(session: Session, ada: Person) -> None:
    accept(session, invitations.invite(session, ada, "Ben", AT, WEEK))
    session.flush()
    told = [(row.person_name, row.subject, row.what) for row in session.exec(select(Entry)).all()]
    assert told[-2:] == [
        ("Ada", "people", "Ben invited"),
        ("Ben", "person/ben", "Account made, invited by Ada"),
    ]


def test_a_link_works_once(session: Session, ada: Person) -> None:
    token = invitations.invite(session, ada, "Ben", AT, WEEK)
    accept(session, token)
    with pytest.raises(Over, match=r"used already\. Ask Ada for a new one"):
        accept(session, token, "eve")


def test_a_link_expires(session: Session, ada: Person) -> None:
    token = invitations.invite(session, ada, "Ben", AT, WEEK)
    with pytest.raises(Over, match="has expired") as over:
        accept(session, token, at=AT + WEEK)
    assert over.value.status == 410


def test_a_link_can_be_withdrawn_and_not_withdrawn_twice(session: Session, ada: Person) -> None:
    token = invitations.invite(session, ada, "Ben", AT, WEEK)
    row, _whose = invitations.find(session, token, AT)
    invitations.withdraw(session, ada, row.id or 0, AT)
    session.expire_all()
    with pytest.raises(Over, match="was withdrawn"):
        accept(session, token)
    with pytest.raises(NotFound):
        invitations.withdraw(session, ada, row.id or 0, AT)


@pytest.mark.parametrize("token", ["", "guessed", "x" * 10_000, "\x00"])
def test_a_link_nobody_made_leads_nowhere(session: Session, ada: Person, token: str) -> None:
    invitations.invite(session, ada, "Ben", AT, WEEK)
    with pytest.raises(NotFound, match="copied whole"):
        invitations.find(session, token, AT)


def test_only_a_hash_of_the_link_is_kept(session: Session, ada: Person) -> None:
    token = invitations.invite(session, ada, "Ben", AT, WEEK)
    row = session.exec(select(Invitation)).one()
    assert token not in str(row.model_dump())
    with pytest.raises(NotFound):
        invitations.find(session, row.key, AT)


def test_a_login_that_is_taken_leaves_the_link_as_it_was(engine: Engine, ada: Person) -> None:
    with writing(engine) as session:
        token = invitations.invite(session, ada, "Ben", AT, WEEK)
        session.commit()
        with pytest.raises(Refused) as refused:
            accept(session, token, "ada")
        assert set(refused.value.fields) == {"login"}
        session.rollback()
        assert accept(session, token, "ben").login == "ben"


def test_of_two_who_use_a_link_at_the_same_moment_one_gets_in(engine: Engine, ada: Person) -> None:
    """Both have found the link good before either of them uses it."""
    with writing(engine) as session:
        token = invitations.invite(session, ada, "Ben", AT, WEEK)
        session.commit()
    both_looked, results = threading.Barrier(2), []

    def use(login: str) -> None:
        with reading(engine) as look:
            invitation, whose = invitations.find(look, token, AT)
        both_looked.wait()
        try:
            with writing(engine) as session:
                invitations.accept(
                    session, invitation, whose, login=login, name=login, password=PASSWORD, at=AT
                )
                session.commit()
            results.append("in")
        except Over:
            results.append("over")

    threads = [threading.Thread(target=use, args=(login,)) for login in ("ben", "eve")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(results) == ["in", "over"]
    with reading(engine) as session:
        assert len(session.exec(select(Person)).all()) == 2


def test_a_lost_password_is_set_anew_and_every_sign_in_ends(session: Session, ada: Person) -> None:
    sign_ins.begin(session, ada, AT, WEEK)
    _whose, token = invitations.renew_password(session, ada, ada.id or 0, AT, WEEK)
    changed = accept(session, token, login="ignored")
    assert changed.login == "ada"
    kept = service.person(session, ada.id or 0).password_hash
    assert passwords.check(PASSWORD, kept)[0]
    assert session.exec(select(SignIn)).all() == []
    with pytest.raises(Over):
        accept(session, token)


def test_a_second_link_for_a_password_withdraws_the_first(session: Session, ada: Person) -> None:
    _whose, first = invitations.renew_password(session, ada, ada.id or 0, AT, WEEK)
    _whose, second = invitations.renew_password(session, ada, ada.id or 0, AT, WEEK)
    with pytest.raises(Over, match="was withdrawn"):
        invitations.find(session, first, AT)
    assert invitations.find(session, second, AT)


def test_a_link_for_a_password_is_worth_nothing_when_the_account_is_closed(
    session: Session, ada: Person
) -> None:
    ben = service.enroll(session, ada, name="Ben", login="ben", password=PASSWORD, at=AT)
    _whose, token = invitations.renew_password(session, ada, ben.id or 0, AT, WEEK)
    service.set_active(session, ada, ben.id or 0, False, AT)
    with pytest.raises(Over, match="closed"):
        invitations.find(session, token, AT)
    with pytest.raises(Refused):
        invitations.renew_password(session, ada, ben.id or 0, AT, WEEK)


def test_an_invitation_needs_a_name(session: Session, ada: Person) -> None:
    with pytest.raises(Refused) as refused:
        invitations.invite(session, ada, "", AT, WEEK)
    assert set(refused.value.fields) == {"for_name"}
