"""Groups that share the cryostats: made, given a share, joined and left; the steward alone may."""

from datetime import datetime

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.bookings import fairness
from server.bookings.models import Group, Member
from server.cryostats.rules import LONGEST_LABEL, text_faults
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.people import service as people
from server.people.models import Person

MOST_SHARE = 1000.0
NOT_STORED = "The group was not stored."


def _need_steward(person: Person) -> None:
    if not person.steward:
        raise Forbidden("Only a steward may alter the groups.")


def make(session: Session, person: Person, name: str, share: float | None, now: datetime) -> Group:
    """A new group with its share."""
    _need_steward(person)
    found = text_faults("name", "the name", name, LONGEST_LABEL) | _share_fault(share)
    if not name.strip():
        found["name"] = "Enter the name of the group"
    if session.exec(select(Group).where(Group.name == name.strip())).first():
        found["name"] = "There is a group of this name"
    if found or share is None:
        raise Refused(NOT_STORED, found)
    row = Group(name=name.strip(), share=share)
    session.add(row)
    try:
        session.flush()
    except IntegrityError:
        raise Refused(NOT_STORED, {"name": "There is a group of this name"}) from None
    history.note(session, person, "groups", f"Group {row.name} made, share {share:g}", now)
    return row


def _share_fault(share: float | None) -> dict[str, str]:
    if share is None or not 0 < share <= MOST_SHARE:
        return {"share": "Enter a share such as 1 or 2.5; only their proportion counts"}
    return {}


def set_share(session: Session, person: Person, number: int, share: float | None, now: datetime) -> Group:
    """Give a group another share."""
    _need_steward(person)
    row = fairness.group(session, number)
    found = _share_fault(share)
    if found or share is None:
        raise Refused(NOT_STORED, found)
    before, row.share = row.share, share
    session.add(row)
    history.note(session, person, "groups", f"Share of {row.name} altered from {before:g} to {share:g}", now)
    return row


def join(session: Session, person: Person, number: int, whom: int, now: datetime) -> Member:
    """Let somebody book for a group."""
    _need_steward(person)
    group = fairness.group(session, number)
    joins = people.person(session, whom) if 0 < whom < 2**31 else None
    if joins is None or not joins.active:
        raise Refused(NOT_STORED, {"person": "Choose somebody who has an account"})
    query = select(Member).where(Member.group_id == number, Member.person_id == whom)
    found = session.exec(query).first()
    if found is None:
        found = Member(group_id=number, person_id=whom)
        session.add(found)
        try:
            session.flush()
        except IntegrityError as twice:
            raise Conflict(f"{joins.name} was just let in by somebody else.") from twice
        history.note(session, person, "groups", f"{joins.name} joined {group.name}", now)
    return found


def leave(session: Session, person: Person, number: int, whom: int, now: datetime) -> None:
    """Take somebody out of a group; what they booked for it stays as it was."""
    _need_steward(person)
    group = fairness.group(session, number)
    query = select(Member).where(Member.group_id == number, col(Member.person_id) == whom)
    found = session.exec(query).first()
    if found is None:
        raise NotFound("This person does not belong to the group.")
    name = people.person(session, whom).name
    session.delete(found)
    history.note(session, person, "groups", f"{name} left {group.name}", now)
