"""Due days as a calendar (RFC 5545) at a secret address; the text of an address is shown once."""

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from uuid import NAMESPACE_OID, uuid5

from icalendar import Calendar, Event
from sqlmodel import Session, col, select

from server.errors import NotFound, Refused
from server.history import service as history
from server.notices import service
from server.notices.models import DueFeed
from server.notices.rules import KINDS, Notice
from server.people import tokens
from server.people.models import Person

PREFIX_LENGTH, MOST = 6, 10
LARGEST_KEY = 2**31 - 1


def make(session: Session, person: Person, now: datetime) -> str:
    """A new address of this person; its secret part."""
    assert person.id is not None
    if len(of(session, person)) >= MOST:
        raise Refused("No address was made.", {"feed": f"Revoke an address first; {MOST} are the most"})
    made = tokens.fresh()
    row = DueFeed(key=tokens.key_of(made), prefix=made[:PREFIX_LENGTH], person_id=person.id, made_at=now)
    session.add(row)
    history.note(session, person, f"person/{person.id}", "Calendar address of due days made", now)
    return made


def of(session: Session, person: Person) -> Sequence[DueFeed]:
    """The addresses of a person that still work, newest first."""
    query = select(DueFeed).where(DueFeed.person_id == person.id, col(DueFeed.revoked_at).is_(None))
    return session.exec(query.order_by(col(DueFeed.id).desc())).all()


def revoke(session: Session, person: Person, number: int, now: datetime) -> None:
    """Make an address worthless; NotFound when it is not the person's own."""
    row = session.get(DueFeed, number, with_for_update=True) if 0 < number <= LARGEST_KEY else None
    if row is None or row.person_id != person.id or row.revoked_at is not None:
        raise NotFound("There is no such address, or it was revoked before.")
    row.revoked_at = now
    session.add(row)
    history.note(session, person, f"person/{person.id}", "Calendar address of due days revoked", now)


def read(session: Session, token: str, home: str, now: datetime) -> bytes:
    """The calendar behind a secret address; NotFound when it is unknown, revoked, or its person has left."""
    query = select(Person).join(DueFeed, col(DueFeed.person_id) == col(Person.id))
    query = query.where(
        DueFeed.key == tokens.key_of(token), col(DueFeed.revoked_at).is_(None), col(Person.active)
    )
    person = session.exec(query).first()
    if person is None:
        raise NotFound("There is no calendar at this address.")
    return calendar(service.for_person(session, person, now), home)


def calendar(notices: Sequence[Notice], home: str) -> bytes:
    """All that has a day, as whole days. It depends on the notices alone, so that its ETag stands still."""
    made = Calendar()
    made.add("prodid", "-//Coldstead//Due//EN")
    made.add("version", "2.0")
    made.add("name", "Due")
    made.add("refresh-interval", timedelta(hours=1), parameters={"value": "DURATION"})
    for row in notices:
        if row.on is not None:
            made.add_component(_event(row, home))
    return bytes(made.to_ical())


def _event(row: Notice, home: str) -> Event:
    assert row.on is not None
    made = Event()
    made.add("uid", str(uuid5(NAMESPACE_OID, f"coldstead-due-{row.key}")))
    made.add("dtstamp", datetime.combine(row.on, time(), UTC))
    made.add("dtstart", row.on)
    made.add("dtend", row.on + timedelta(days=1))
    made.add("summary", f"{KINDS[row.kind]}: {row.what}")
    made.add("description", row.step)
    made.add("url", home.rstrip("/") + row.address)
    made.add("transp", "TRANSPARENT")
    return made
