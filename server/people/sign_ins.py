"""Sign-ins: rows of the database to which a random token in the browser's cookie is the key."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlmodel import Session, col, delete, select, update

from server.errors import NotFound, Refused
from server.history import service as history
from server.people import attempts, tokens
from server.people.models import Person, SignIn

SEEN_AGAIN = timedelta(hours=1)
"""A sign-in's last use is written down no more often than this."""
NO_MATCH = "Login and password do not belong together. Check both."


def begin(session: Session, person: Person, at: datetime, lasts: timedelta, instead_of: str = "") -> str:
    """Sign somebody in; the token for the cookie.

    The token is always new, and the one the browser came with ends: a token that somebody planted there
    before is worth nothing afterwards.
    """
    here = session.get(Person, person.id, with_for_update=True)
    if here is None or not here.active:
        raise Refused(NO_MATCH, {"password": NO_MATCH})
    session.exec(
        delete(SignIn).where((col(SignIn.key) == tokens.key_of(instead_of)) | (col(SignIn.expires_at) <= at))
    )
    token = tokens.fresh()
    row = SignIn(
        key=tokens.key_of(token),
        person_id=here.id or 0,
        created_at=at,
        expires_at=at + lasts,
        seen_at=at,
    )
    session.add(row)
    attempts.forgive(session, here.login)
    history.note(session, here, subject(here), "Signed in", at)
    return token


def find(session: Session, token: str, at: datetime) -> tuple[SignIn, Person] | None:
    """The sign-in a token is the key to, and whose it is; None when it has ended."""
    query = (
        select(SignIn, Person)
        .join(Person, col(SignIn.person_id) == Person.id)
        .where(SignIn.key == tokens.key_of(token), SignIn.expires_at > at, col(Person.active))
    )
    return session.exec(query).first()


def seen(session: Session, row: SignIn, at: datetime) -> None:
    """Write down when a sign-in was last used."""
    query = update(SignIn).where(col(SignIn.id) == row.id, col(SignIn.seen_at) == row.seen_at)
    session.exec(query.values(seen_at=at))


def of(session: Session, person: Person, at: datetime) -> Sequence[SignIn]:
    """Where somebody is signed in, newest first."""
    query = select(SignIn).where(SignIn.person_id == person.id, SignIn.expires_at > at)
    return session.exec(query.order_by(col(SignIn.created_at).desc())).all()


def end(session: Session, person: Person, sign_in_id: int, at: datetime) -> None:
    """End one sign-in of this person; NotFound when it is not theirs."""
    row = session.get(SignIn, sign_in_id)
    if row is None or row.person_id != person.id:
        raise NotFound("This sign-in has ended already.")
    session.delete(row)
    history.note(session, person, subject(person), "Signed out", at)


def end_all(session: Session, person: Person, but: int | None = None) -> None:
    """End every sign-in of a person, except the one named."""
    query = delete(SignIn).where(col(SignIn.person_id) == person.id)
    session.exec(query if but is None else query.where(col(SignIn.id) != but))


def subject(person: Person) -> str:
    """Under which name the history keeps what concerns a person."""
    return f"person/{person.login}"
