"""Links that work once: a steward makes one, whoever opens it sets login, name and password.

The link is shown once, to the steward, who hands it over; only its hash is kept.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select, update

from server.errors import NotFound, Problem, Refused
from server.history import service as history
from server.people import rules, service, tokens
from server.people.models import Invitation, Person
from server.people.sign_ins import subject


class Over(Problem):
    """The link worked once and does no more."""

    status = 410


def invite(session: Session, steward: Person, name: str, at: datetime, lasts: timedelta) -> str:
    """A link for somebody without an account; the token in it."""
    wrong = rules.name_faults(name, "for_name")
    if wrong:
        raise Refused("Nobody was invited.", wrong)
    history.note(session, steward, "people", f"{name} invited", at)
    return _make(session, steward, name, None, at, lasts)


def renew_password(
    session: Session, steward: Person, person_id: int, at: datetime, lasts: timedelta
) -> tuple[Person, str]:
    """A link with which an active person sets a new password; earlier ones of theirs are withdrawn."""
    whose = service.person(session, person_id)
    if not whose.active:
        raise Refused("Let this person in again first.")
    earlier = update(Invitation).where(col(Invitation.person_id) == whose.id, *_waiting(at))
    session.exec(earlier.values(withdrawn_at=at))
    history.note(session, steward, subject(whose), "Link for a new password made", at)
    return whose, _make(session, steward, whose.name, whose.id, at, lasts)


def _make(
    session: Session, steward: Person, name: str, person_id: int | None, at: datetime, lasts: timedelta
) -> str:
    token = tokens.fresh()
    session.add(
        Invitation(
            key=tokens.key_of(token),
            for_name=name,
            person_id=person_id,
            made_by_id=steward.id or 0,
            made_by_name=steward.name,
            made_at=at,
            expires_at=at + lasts,
        )
    )
    return token


def _waiting(at: datetime) -> tuple[ColumnElement[bool], ...]:
    return (
        col(Invitation.used_at).is_(None),
        col(Invitation.withdrawn_at).is_(None),
        col(Invitation.expires_at) > at,
    )


def waiting(session: Session, at: datetime) -> Sequence[Invitation]:
    """The links that still work, oldest first."""
    return session.exec(select(Invitation).where(*_waiting(at)).order_by(col(Invitation.id))).all()


def find(session: Session, token: str, at: datetime) -> tuple[Invitation, Person | None]:
    """The invitation this link opens, and whose new password it is for.

    NotFound when there never was one, Over when it works no more.
    """
    found = session.exec(select(Invitation).where(Invitation.key == tokens.key_of(token))).first()
    if found is None:
        raise NotFound("This link leads nowhere. Check that it was copied whole.")
    whose = service.person(session, found.person_id) if found.person_id else None
    reason = _why_over(found, whose, at)
    if reason:
        raise Over(f"This link {reason}. Ask {found.made_by_name} for a new one.")
    return found, whose


def _why_over(found: Invitation, whose: Person | None, at: datetime) -> str | None:
    if found.used_at is not None:
        return "was used already"
    if found.withdrawn_at is not None:
        return "was withdrawn"
    if found.expires_at <= at:
        return "has expired"
    if whose is not None and not whose.active:
        return "is for an account that is closed"
    return None


def withdraw(session: Session, steward: Person, invitation_id: int, at: datetime) -> Invitation:
    """Make a link worthless; NotFound when it works no more anyway."""
    query = update(Invitation).where(col(Invitation.id) == invitation_id, *_waiting(at))
    if session.exec(query.values(withdrawn_at=at)).rowcount != 1:
        raise NotFound("This invitation was used, withdrawn or has expired already.")
    found = session.get_one(Invitation, invitation_id)
    history.note(session, steward, "people", f"Invitation of {found.for_name} withdrawn", at)
    return found


def accept(
    session: Session,
    invitation: Invitation,
    whose: Person | None,
    *,
    login: str,
    name: str,
    password: str,
    at: datetime,
) -> Person:
    """Make the account, or store the new password of `whose`, and use the link up.

    The link is claimed in one statement, so of two who open it at the same moment the second gets Over.
    """
    if whose is not None:
        service.set_password(session, whose, password, at, keep=None)
        _claim(session, invitation, at)
        return whose
    new = service.checked(name, login, password)
    _claim(session, invitation, at)
    return service.add(session, None, new, at, how=f"Account made, invited by {invitation.made_by_name}")


def _claim(session: Session, invitation: Invitation, at: datetime) -> None:
    query = update(Invitation).where(col(Invitation.id) == invitation.id, *_waiting(at))
    if session.exec(query.values(used_at=at)).rowcount != 1:
        raise Over(f"This link was used already. Ask {invitation.made_by_name} for a new one.")
