"""Recognising somebody by login and password."""

from datetime import datetime

from sqlalchemy.engine import Engine

from server.db import reading, writing
from server.errors import Refused
from server.people import attempts, passwords, service
from server.people.models import Person
from server.people.sign_ins import NO_MATCH


def recognise(
    engine: Engine, login: str, password: str, address: str, at: datetime
) -> tuple[Person, str | None]:
    """Whose login and password these are, and a newer hash when the kept one has aged.

    Refused when they do not belong together, TooMany after too many attempts. The attempt is counted and
    committed first, in a transaction of its own: attempts made at the same time see each other, and nobody
    waits for the database while a password is looked at.
    """
    with writing(engine) as tally:
        attempts.count(tally, login, address, at)
        tally.commit()
    with reading(engine) as session:
        found = service.by_login(session, login)
    kept = found.password_hash if found and found.active else None
    fits, newer = passwords.check(password, kept)
    if found is None or not fits:
        raise Refused(NO_MATCH, {"password": NO_MATCH})
    return found, newer
