"""Accounts: made, named, opened and closed.

A password is hashed before the database is first asked for anything: no transaction is open meanwhile.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.errors import NotFound, Refused
from server.history import service as history
from server.people import api_tokens, attempts, passwords, rules, sign_ins
from server.people.models import Person
from server.people.sign_ins import subject

TAKEN = "This login is taken. Choose another"
LAST_STEWARD = "This is the last steward. Make another person steward first."


@dataclass(frozen=True)
class CommandLine:
    """History's author when nobody is signed in."""

    id: int | None = None
    name: str = "command line"


def person(session: Session, person_id: int) -> Person:
    """The person with this key, active or not; NotFound."""
    found = session.get(Person, person_id)
    if found is None:
        raise NotFound("There is no such person.")
    return found


def by_login(session: Session, login: str) -> Person | None:
    """The person with this login, however it was typed."""
    return session.exec(select(Person).where(Person.login == rules.login_of(login))).first()


def everyone(session: Session) -> Sequence[Person]:
    """Everybody who ever had an account, by name, those who left last."""
    return session.exec(select(Person).order_by(col(Person.active).desc(), Person.name, Person.login)).all()


def anybody(session: Session) -> bool:
    """False before the first account is made."""
    return session.exec(select(Person.id).limit(1)).first() is not None


def first_steward(session: Session, *, name: str, login: str, password: str, at: datetime) -> Person:
    """A steward made from the command line: the first one, or one more when nobody can get in."""
    return enroll(session, CommandLine(), name=name, login=login, password=password, at=at, steward=True)


def enroll(
    session: Session,
    author: history.Author,
    *,
    name: str,
    login: str,
    password: str,
    at: datetime,
    steward: bool = False,
) -> Person:
    """A new account; Refused with the fields to mend."""
    how = "Account made, as steward" if steward else "Account made"
    return add(session, author, checked(name, login, password), at, how, steward=steward)


@dataclass(frozen=True)
class Checked:
    """An account that may be made: the rules are kept and the password is hashed."""

    name: str
    login: str
    password_hash: str


def checked(name: str, login: str, password: str) -> Checked:
    """What was typed for a new account, against the rules; Refused with the fields to mend."""
    name, login = name.strip(), rules.login_of(login)
    wrong = rules.name_faults(name) | rules.login_faults(login) | rules.password_faults(password, login)
    if wrong:
        raise Refused("The account was not made.", wrong)
    return Checked(name, login, passwords.hashed(password))


def add(
    session: Session,
    author: history.Author | None,
    new: Checked,
    at: datetime,
    how: str,
    *,
    steward: bool = False,
) -> Person:
    """Store a checked account; Refused when the login is taken. Without an author the person is their own."""
    if by_login(session, new.login):
        raise Refused("The account was not made.", {"login": TAKEN})
    made = Person(
        name=new.name, login=new.login, password_hash=new.password_hash, steward=steward, created_at=at
    )
    session.add(made)
    try:
        session.flush()
    except IntegrityError:
        session.rollback()
        raise Refused("The account was not made.", {"login": TAKEN}) from None
    history.note(session, author or made, subject(made), how, at, {"name": made.name})
    return made


def rename(session: Session, author: Person, person_id: int, name: str, at: datetime) -> Person:
    """Give a person another name; what was written under the old one stays."""
    wrong = rules.name_faults(name)
    if wrong:
        raise Refused("The name was not stored.", wrong)
    found = person(session, person_id)
    before, found.name = found.name, name
    session.add(found)
    history.note(session, author, subject(found), f"Name altered from {before} to {name}", at)
    return found


def set_password(session: Session, whose: Person, password: str, at: datetime, keep: int | None) -> None:
    """Store a new password and end every sign-in of this person but `keep`."""
    wrong = rules.password_faults(password, whose.login)
    if wrong:
        raise Refused("The password was not altered.", wrong)
    kept = passwords.hashed(password)
    found = person(session, whose.id or 0)
    found.password_hash = kept
    session.add(found)
    sign_ins.end_all(session, found, but=keep)
    attempts.forgive(session, found.login)
    history.note(session, found, subject(found), "Password altered; other sign-ins ended", at)


def refresh_hash(session: Session, whose: Person, newer: str) -> None:
    """Keep a hash of the same password made with today's costs."""
    found = person(session, whose.id or 0)
    found.password_hash = newer
    session.add(found)


def set_active(session: Session, author: Person, person_id: int, active: bool, at: datetime) -> Person:
    """Let somebody in again, or keep them out: their sign-ins end and their tokens are revoked."""
    found = _locked(session, person_id, leaves=not active)
    if found.active == active:
        return found
    found.active = active
    session.add(found)
    if not active:
        sign_ins.end_all(session, found)
        api_tokens.revoke_all(session, found, at)
    what = "Let in again" if active else "Deactivated; sign-ins ended, tokens revoked"
    history.note(session, author, subject(found), what, at)
    return found


def set_steward(session: Session, author: Person, person_id: int, steward: bool, at: datetime) -> Person:
    """Make somebody steward, or take it from them; Refused for the last one."""
    found = _locked(session, person_id, leaves=not steward)
    if found.steward == steward:
        return found
    if steward and not found.active:
        raise Refused("Let this person in again first.")
    found.steward = steward
    session.add(found)
    history.note(session, author, subject(found), "Made steward" if steward else "No longer steward", at)
    return found


def set_safety(session: Session, author: Person, person_id: int, safety: bool, at: datetime) -> Person:
    """Say that somebody answers for safety here, or does no longer."""
    found = person(session, person_id)
    if found.safety == safety:
        return found
    if safety and not found.active:
        raise Refused("Let this person in again first.")
    found.safety = safety
    session.add(found)
    what = "Answers for safety" if safety else "Answers for safety no longer"
    history.note(session, author, subject(found), what, at)
    return found


def answers_for_safety(session: Session, somebody: Person) -> bool:
    """True for whoever is marked so; for a steward while nobody is."""
    if somebody.safety:
        return True
    marked = select(Person.id).where(col(Person.safety), col(Person.active)).limit(1)
    return somebody.steward and session.exec(marked).first() is None


def _locked(session: Session, person_id: int, *, leaves: bool) -> Person:
    """The person, while no other steward can come or go; Refused when the last one would leave.

    All stewards are locked, in one order: two who take the right from each other at the same moment must
    not both succeed.
    """
    query = select(Person).where(col(Person.steward), col(Person.active)).order_by(col(Person.id))
    stewards = session.exec(query.with_for_update()).all()
    if leaves and [one.id for one in stewards] == [person_id]:
        raise Refused(LAST_STEWARD)
    return person(session, person_id)
