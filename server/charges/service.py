"""Saying that a charge line is wrong, and answering it: it stands, or another line corrects it."""

from datetime import datetime

from sqlmodel import Session

from server.charges import finding, rules
from server.charges.finding import Told
from server.charges.making import Made, make
from server.charges.models import ChargeEntry, ChargeLine
from server.charges.rates import enter as enter_rate
from server.charges.rules import CORRECTED, DISPUTED, STANDS
from server.cryostats.rules import LONGEST_NOTE, text_faults
from server.errors import Conflict, Forbidden, Refused
from server.history import service as history
from server.people.models import Person

__all__ = ["Made", "answer", "dispute", "enter_rate", "make"]
LONGEST_H = 24 * 366.0


def dispute(session: Session, person: Person, number: int, note: str, now: datetime) -> ChargeEntry:
    """Say why a line is wrong; Conflict while it is disputed already."""
    told = finding.one(session, person, number, lock=True)
    if told.state == DISPUTED:
        raise Conflict("This line is disputed already; a steward answers it.")
    _need(note, "Enter what is wrong with it, in a few words")
    return _said(session, person, told, DISPUTED, note, now)


def answer(
    session: Session, person: Person, number: int, note: str, hours: float | None, now: datetime
) -> ChargeEntry:
    """Answer a disputed line: with no hours it stands; with hours another line corrects it to them."""
    if not person.steward:
        raise Forbidden("Only a steward answers a dispute.")
    told = finding.one(session, person, number, lock=True)
    if told.state != DISPUTED:
        raise Conflict("Nobody disputes this line.")
    _need(note, "Enter why, in a few words")
    if hours is None:
        return _said(session, person, told, STANDS, note, now)
    if not 0 <= hours <= LONGEST_H or told.line.what == rules.USED:
        raise Refused("Nothing was corrected.", {"hours": "Enter the right hours, 0 or more"})
    session.add(_correction(person, told, round(hours * rules.HOUR_S), note, now))
    return _said(session, person, told, CORRECTED, note, now)


def _need(note: str, words: str) -> None:
    found = text_faults("note", "the note", note, LONGEST_NOTE)
    if not note.strip():
        found["note"] = words
    if found:
        raise Refused("Nothing was written down.", found)


def _said(session: Session, person: Person, told: Told, what: str, note: str, now: datetime) -> ChargeEntry:
    assert told.line.id is not None
    row = ChargeEntry(
        line_id=told.line.id, what=what, note=note.strip(), at=now, by_name=person.name, by_id=person.id
    )
    session.add(row)
    session.flush()
    history.note(session, person, "charges", f"Charge line {told.line.id}: {rules.STATES[what]}", now)
    return row


def _correction(person: Person, told: Told, right_s: int, note: str, now: datetime) -> ChargeLine:
    """A line of its own that brings the sum to the right hours."""
    line = told.line
    wanted = rules.cents(right_s, line.cents_per_hour)
    kept = line.model_dump(
        exclude={"id", "seconds", "cents", "why", "basis", "corrects", "at", "by_name", "by_id"}
    )
    return ChargeLine(
        **kept,
        seconds=right_s - told.seconds,
        cents=wanted - told.cents,
        why=note.strip(),
        basis=rules.WRITTEN,
        corrects=line.id,
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
