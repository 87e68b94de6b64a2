"""Where a person wants letters, and writing them one; who gave no address gets none."""

from datetime import datetime

from sqlmodel import Session, col, select

from server.errors import Refused
from server.history import service as history
from server.mail import outbox, rules
from server.people.mail_models import MailAddress
from server.people.models import Person
from server.people.sign_ins import subject


def address_of(session: Session, person_id: int) -> str:
    """The address in force; empty when letters are not wanted."""
    query = select(MailAddress.address).where(MailAddress.person_id == person_id)
    return session.exec(query.order_by(col(MailAddress.id).desc()).limit(1)).first() or ""


def set_address(session: Session, person: Person, address: str, now: datetime) -> None:
    """Store one's own address; an empty one ends the letters."""
    assert person.id is not None
    fault = rules.address_fault(address) if address else ""
    if not fault and address == address_of(session, person.id):
        fault = "Nothing differs from what holds now"
    if fault:
        raise Refused("The address was not stored.", {"address": fault})
    row = MailAddress(person_id=person.id, address=address, at=now, by_name=person.name, by_id=person.id)
    session.add(row)
    what = "Address for letters stored" if address else "No letters wanted any more"
    history.note(session, person, subject(person), what, now)


def write_to(
    session: Session, person_id: int, subject_line: str, body: str, about: str, now: datetime
) -> None:
    """A letter to somebody who is active and gave an address, in this transaction."""
    person = session.get(Person, person_id)
    address = address_of(session, person_id) if person is not None and person.active else ""
    if address:
        outbox.write(session, address, subject_line, body, about, now)
