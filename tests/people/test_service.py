"""Accounts: made, named, opened and closed; and always a steward."""

import threading
from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.engine import Engine
from sqlmodel import Session, col, select

from server.db import reading, writing
from server.errors import NotFound, Refused
from server.history.models import Entry
from server.people import api_tokens, passwords, service, sign_ins
from server.people.models import Person
from tests.fixtures.people import PASSWORD, make_person

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)


@pytest.fixture
def ada(engine: Engine) -> Person:
    return make_person(engine, "ada", "Ada", steward=True)


@pytest.fixture
def ben(engine: Engine) -> Person:
    return make_person(engine, "ben", "Ben")


def told(session: Session) -> tuple[str, str, str]:
    session.flush()
    last = session.exec(select(Entry).order_by(col(Entry.id).desc())).first()
    assert last is not None
    return last.person_name, last.subject, last.what


def test_the_command_line_makes_a_steward(session: Session) -> None:
    assert not service.anybody(session)
    made = service.first_steward(session, name=" Ada ", login="Ada", password=PASSWORD, at=AT)
    assert (made.name, made.login, made.steward) == ("Ada", "ada", True)
    assert service.anybody(session)
    assert told(session) == ("command line", "person/ada", "Account made, as steward")


def test_every_fault_of_a_new_account_is_told_at_its_field(session: Session) -> None:
    with pytest.raises(Refused) as refused:
        service.first_steward(session, name="", login="a b", password="short", at=AT)
    assert set(refused.value.fields) == {"name", "login", "password"}


def test_a_login_is_given_once_however_it_is_written(session: Session, ada: Person) -> None:
    assert ada.login == "ada"
    with pytest.raises(Refused) as refused:
        service.first_steward(session, name="Ada", login="ADA", password=PASSWORD, at=AT)
    assert set(refused.value.fields) == {"login"}


def test_two_who_want_one_login_at_the_same_moment_get_it_once(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither sees the other when looking; the database itself refuses the second."""
    monkeypatch.setattr(service, "by_login", lambda _session, _login: None)
    make_person(engine, "ada", "Ada")
    with writing(engine) as session, pytest.raises(Refused) as refused:
        service.first_steward(session, name="Ada", login="ada", password=PASSWORD, at=AT)
    assert set(refused.value.fields) == {"login"}


def test_a_person_nobody_knows_is_not_found(session: Session) -> None:
    with pytest.raises(NotFound):
        service.person(session, 4711)


def test_a_new_name_leaves_the_old_one_in_the_history(session: Session, ada: Person) -> None:
    service.rename(session, ada, ada.id or 0, "Ada Night", AT)
    assert told(session) == ("Ada", "person/ada", "Name altered from Ada to Ada Night")
    with pytest.raises(Refused):
        service.rename(session, ada, ada.id or 0, "", AT)


def test_a_new_password_ends_every_sign_in_but_this_one(session: Session, ada: Person) -> None:
    here = sign_ins.begin(session, ada, AT, timedelta(days=1))
    elsewhere = sign_ins.begin(session, ada, AT, timedelta(days=1))
    found = sign_ins.find(session, here, AT)
    assert found is not None
    service.set_password(session, ada, "another cold night", AT, keep=found[0].id)
    assert sign_ins.find(session, here, AT) is not None
    assert sign_ins.find(session, elsewhere, AT) is None
    assert passwords.check("another cold night", service.person(session, ada.id or 0).password_hash)[0]
    assert told(session)[2] == "Password altered; other sign-ins ended"


def test_who_is_deactivated_loses_sign_ins_and_tokens(session: Session, ada: Person, ben: Person) -> None:
    here = sign_ins.begin(session, ben, AT, timedelta(days=1))
    _row, token = api_tokens.make(session, ben, "logger", AT)
    service.set_active(session, ada, ben.id or 0, False, AT)
    assert told(session) == ("Ada", "person/ben", "Deactivated; sign-ins ended, tokens revoked")
    service.set_active(session, ada, ben.id or 0, True, AT)
    assert told(session)[2] == "Let in again"
    session.expire_all()
    assert sign_ins.find(session, here, AT) is None
    assert api_tokens.find(session, token) is None


def test_deactivating_twice_is_told_once(session: Session, ada: Person, ben: Person) -> None:
    service.set_active(session, ada, ben.id or 0, False, AT)
    before = len(session.exec(select(Entry)).all())
    service.set_active(session, ada, ben.id or 0, False, AT)
    assert len(session.exec(select(Entry)).all()) == before


def test_a_steward_is_made_and_unmade(session: Session, ada: Person, ben: Person) -> None:
    assert service.set_steward(session, ada, ben.id or 0, True, AT).steward
    assert told(session) == ("Ada", "person/ben", "Made steward")
    assert not service.set_steward(session, ben, ada.id or 0, False, AT).steward
    assert told(session) == ("Ben", "person/ada", "No longer steward")


def test_the_last_steward_stays(session: Session, ada: Person, ben: Person) -> None:
    service.set_steward(session, ada, ben.id or 0, True, AT)
    service.set_active(session, ada, ben.id or 0, False, AT)
    with pytest.raises(Refused, match="last steward"):
        service.set_steward(session, ada, ada.id or 0, False, AT)
    with pytest.raises(Refused, match="last steward"):
        service.set_active(session, ada, ada.id or 0, False, AT)


def test_somebody_deactivated_is_not_made_steward(session: Session, ada: Person, ben: Person) -> None:
    service.set_active(session, ada, ben.id or 0, False, AT)
    with pytest.raises(Refused):
        service.set_steward(session, ada, ben.id or 0, True, AT)


def test_of_two_stewards_who_unmake_each_other_at_the_same_moment_one_stays(
    engine: Engine, ada: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each is held after counting the stewards until the other has counted, or is seen to wait for it."""
    ben = make_person(engine, "ben", "Ben", steward=True)
    counted, results, original = threading.Barrier(2), [], service._locked

    def locked(session: Session, person_id: int, *, leaves: bool) -> Person:
        found = original(session, person_id, leaves=leaves)
        with suppress(threading.BrokenBarrierError):
            counted.wait(timeout=0.3)
        return found

    monkeypatch.setattr(service, "_locked", locked)

    def unmake(author: Person, whom: Person) -> None:
        try:
            with writing(engine) as session:
                service.set_steward(session, author, whom.id or 0, False, AT)
                session.commit()
            results.append("done")
        except Refused:
            results.append("refused")

    threads = [threading.Thread(target=unmake, args=pair) for pair in ((ada, ben), (ben, ada))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(results) == ["done", "refused"]
    with reading(engine) as session:
        assert len(session.exec(select(Person).where(col(Person.steward))).all()) == 1
