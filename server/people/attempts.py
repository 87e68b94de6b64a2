"""The bound on attempts to sign in, by login and by address.

The counts stand in the database, so that they hold for all workers together. Nobody is locked out for good:
a count is forgotten a quarter of an hour after its first attempt.
"""

from datetime import datetime, timedelta

from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col, delete

from server.errors import Refused
from server.people.models import Attempts
from server.people.rules import login_of
from server.people.tokens import key_of

STRETCH = timedelta(minutes=15)
PER_LOGIN = 10
PER_ADDRESS = 60
"""A whole laboratory may sit behind one address."""


class TooMany(Refused):
    """The bound is reached; wait."""

    status = 429


def count(session: Session, login: str, address: str, at: datetime) -> None:
    """One attempt more, however the login is written; TooMany above the bound.

    To be committed before the password is looked at, or attempts made at the same time would not see each
    other.
    """
    session.exec(delete(Attempts).where(col(Attempts.began_at) <= at - STRETCH))
    of_login = _one_more(session, _key("login", login_of(login)), at)
    of_address = _one_more(session, _key("address", address), at)
    if of_login > PER_LOGIN or of_address > PER_ADDRESS:
        minutes = STRETCH.seconds // 60
        whose = "with this login" if of_login > PER_LOGIN else "from this address"
        words = f"Too many attempts {whose}. Wait {minutes} minutes, then try again."
        raise TooMany(words, {"password": words})


def forgive(session: Session, login: str) -> None:
    """After the right password the attempts with this login no longer count."""
    session.exec(delete(Attempts).where(col(Attempts.key) == _key("login", login_of(login))))


def _key(kind: str, what: str) -> str:
    return key_of(f"{kind}:{what}")


def _one_more(session: Session, key: str, at: datetime) -> int:
    """Add one in a single statement: the database makes attempts of the same moment wait for each other."""
    insert = postgresql.insert if session.get_bind().dialect.name == "postgresql" else sqlite.insert
    statement = (
        insert(Attempts)
        .values(key=key, began_at=at, count=1)
        .on_conflict_do_update(index_elements=["key"], set_={"count": col(Attempts.count) + 1})
        .returning(col(Attempts.count))
    )
    return int(session.exec(statement).scalar_one())
