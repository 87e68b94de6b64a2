"""Tokens with which a program acts as a person. The text is shown once and never again."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select, update

from server.errors import NotFound, Refused
from server.history import service as history
from server.people import tokens
from server.people.models import ApiToken, Person
from server.people.rules import name_faults
from server.people.sign_ins import subject

MARK = "coldstead_"
"""What every token begins with, so that one left lying in a file is known for what it is."""
PREFIX_LENGTH = len(MARK) + 6
MOST = 50


def make(session: Session, person: Person, name: str, at: datetime) -> tuple[ApiToken, str]:
    """A new token of this person, and its text."""
    wrong = name_faults(name, "token_name")
    if not wrong and len(of(session, person)) >= MOST:
        wrong = {"token_name": f"Revoke a token first; {MOST} are the most"}
    if wrong:
        raise Refused("The token was not made.", wrong)
    text = MARK + tokens.fresh()
    row = ApiToken(
        person_id=person.id or 0,
        name=name,
        key=tokens.key_of(text),
        prefix=text[:PREFIX_LENGTH],
        created_at=at,
    )
    session.add(row)
    session.flush()
    history.note(session, person, subject(person), f"Token “{name}” made", at, {"prefix": row.prefix})
    return row, text


def find(session: Session, text: str) -> tuple[ApiToken, Person] | None:
    """The token with this text, and whose it is; None when it is unknown or revoked."""
    query = (
        select(ApiToken, Person)
        .join(Person, col(ApiToken.person_id) == Person.id)
        .where(ApiToken.key == tokens.key_of(text), col(ApiToken.revoked_at).is_(None), col(Person.active))
    )
    return session.exec(query).first()


def used(session: Session, row: ApiToken, at: datetime) -> None:
    """Write down when a token was last used."""
    session.exec(update(ApiToken).where(col(ApiToken.id) == row.id).values(used_at=at))


def of(session: Session, person: Person) -> Sequence[ApiToken]:
    """The tokens of a person that still work, newest first."""
    query = select(ApiToken).where(ApiToken.person_id == person.id, col(ApiToken.revoked_at).is_(None))
    return session.exec(query.order_by(col(ApiToken.id).desc())).all()


def revoke(session: Session, author: Person, owner: Person, token_id: int, at: datetime) -> ApiToken:
    """Make a token of `owner` worthless; NotFound when it is not theirs or no longer works."""
    row = session.get(ApiToken, token_id, with_for_update=True)
    if row is None or row.person_id != owner.id or row.revoked_at is not None:
        raise NotFound("There is no such token, or it was revoked before.")
    row.revoked_at = at
    session.add(row)
    history.note(session, author, subject(owner), f"Token “{row.name}” revoked", at, {"prefix": row.prefix})
    return row


def revoke_all(session: Session, owner: Person, at: datetime) -> None:
    """Make every token of a person worthless."""
    query = update(ApiToken).where(col(ApiToken.person_id) == owner.id, col(ApiToken.revoked_at).is_(None))
    session.exec(query.values(revoked_at=at))
