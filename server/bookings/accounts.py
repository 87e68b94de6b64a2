"""Accounts of the groups: which holds on a day, and whether a booking's build may be frozen on it.

An account is asked for before the freeze, never before a request. A laboratory that has entered none does not
use them, and nothing is asked.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, select

from server.bookings import fairness, reading
from server.bookings.account_models import Account
from server.bookings.models import Booking, Group
from server.cryostats.rules import LONGEST_LABEL, LONGEST_NOTE, text_faults
from server.errors import Forbidden, Refused
from server.history import service as history
from server.laboratory import service as laboratory
from server.people.models import Person

NOT_STORED = "The account was not stored."


@dataclass(frozen=True)
class Entered:
    """An account as a steward types it."""

    number: str
    valid_from: date | None
    valid_until: date | None
    note: str = ""


def current(session: Session) -> dict[int, list[Account]]:
    """Group → its accounts, each as it was entered last, in one query."""
    newest: dict[tuple[int, str], Account] = {}
    for row in session.exec(select(Account).order_by(col(Account.id))).all():
        newest[row.group_id, row.number] = row
    found: dict[int, list[Account]] = {}
    for row in newest.values():
        found.setdefault(row.group_id, []).append(row)
    return found


def holds(rows: Sequence[Account], day: date) -> Account | None:
    """The account that is valid on a day; of several the one that ends last."""
    valid = [
        row for row in rows if row.valid_from <= day and (row.valid_until is None or day <= row.valid_until)
    ]
    return max(valid, key=lambda row: (row.valid_until is None, row.valid_until or day), default=None)


def enter(session: Session, person: Person, group_id: int, wanted: Entered, now: datetime) -> Account:
    """Enter an account of a group, or enter it anew with other days; Refused with the fields to mend."""
    if not person.steward:
        raise Forbidden("Only a steward enters accounts.")
    group = fairness.group(session, group_id)
    found = _faults(wanted)
    if found or wanted.valid_from is None:
        raise Refused(NOT_STORED, found)
    row = Account(
        group_id=group_id,
        number=wanted.number.strip(),
        valid_from=wanted.valid_from,
        valid_until=wanted.valid_until,
        note=wanted.note.strip(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    until = f"until {row.valid_until}" if row.valid_until else "with no end"
    history.note(session, person, "groups", f"Account of {group.name} from {row.valid_from} {until}", now)
    return row


def _faults(wanted: Entered) -> dict[str, str]:
    found = text_faults("number", "the number", wanted.number, LONGEST_LABEL)
    found |= text_faults("note", "the note", wanted.note, LONGEST_NOTE)
    if not wanted.number.strip():
        found["number"] = "Enter the account as your finance office writes it"
    if wanted.valid_from is None:
        found["valid_from"] = "Enter the first day, such as 2026-01-01"
    elif wanted.valid_until is not None and wanted.valid_until < wanted.valid_from:
        found["valid_until"] = "The last day must not come before the first"
    return found


def set_kind(session: Session, person: Person, group_id: int, kind: str, now: datetime) -> Group:
    """Say of which kind a group is: rates hold for a kind."""
    if not person.steward:
        raise Forbidden("Only a steward says of which kind a group is.")
    group = fairness.group(session, group_id)
    found = text_faults("kind", "the kind", kind, LONGEST_LABEL)
    if not kind.strip():
        found["kind"] = "Enter a kind such as internal"
    if found:
        raise Refused("The kind was not stored.", found)
    before, group.kind = group.kind, kind.strip()
    session.add(group)
    history.note(session, person, "groups", f"Kind of {group.name} altered: {before} → {group.kind}", now)
    return group


def missing(session: Session, booking: Booking) -> str:
    """Why a booking's build may not be frozen yet, with the next step; empty where nothing is missing.

    A booking for which a steward set a rule aside, with a reason, passes.
    """
    rows = current(session)
    if not rows or booking.override or booking.window_starts is None:
        return ""
    day = laboratory.day_of(session, booking.window_starts)
    pays = {row.group_id: row.group_name for row in reading.parties(session, booking)}
    pays[booking.group_id] = booking.group_name
    without = [name for key, name in pays.items() if key and holds(rows.get(key, ()), day) is None]
    if not without:
        return ""
    return (
        f"{' and '.join(sorted(without))} has no account that is valid on {day.isoformat()}: "
        "give a steward one, who enters it among the accounts; the place stays yours meanwhile."
    )
