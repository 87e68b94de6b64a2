"""Rates: what an hour costs a kind of group from a day on. Nobody alters one; a later entry holds."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, select

from server.charges.models import Rate
from server.charges.rules import RATED
from server.cryostats.rules import LONGEST_LABEL, LONGEST_NOTE, text_faults
from server.errors import Forbidden, Refused
from server.history import service as history
from server.people.models import Person

AMOUNT = re.compile(r"([0-9]{1,7})(?:[.,]([0-9]{1,2}))?")
CURRENCY = re.compile("[A-Z]{3}")


@dataclass(frozen=True)
class Entered:
    """A rate as a steward types it."""

    group_kind: str
    what: str
    per_hour: str
    currency: str
    from_day: date | None
    note: str = ""


def hundredths(text: str) -> int | None:
    """An amount such as `12.50` or `12,5` in whole hundredths; None where it is none."""
    found = AMOUNT.fullmatch(text.strip())
    return int(found[1]) * 100 + int((found[2] or "0").ljust(2, "0")) if found else None


def enter(session: Session, person: Person, wanted: Entered, now: datetime) -> Rate:
    """Enter a rate; Refused with the fields to mend."""
    if not person.steward:
        raise Forbidden("Only a steward enters rates.")
    found, cents = _faults(wanted), hundredths(wanted.per_hour)
    if found or cents is None or wanted.from_day is None:
        raise Refused("The rate was not stored.", found)
    row = Rate(
        group_kind=wanted.group_kind.strip(),
        what=wanted.what,
        cents_per_hour=cents,
        currency=wanted.currency.strip().upper(),
        from_day=wanted.from_day,
        note=wanted.note.strip(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    words = f"{wanted.per_hour.strip()} {row.currency} for {RATED[row.what]}, {row.group_kind}"
    history.note(session, person, "charges", f"Rate from {row.from_day}: {words}", now)
    return row


def _faults(wanted: Entered) -> dict[str, str]:
    found = text_faults("group_kind", "the kind", wanted.group_kind, LONGEST_LABEL)
    found |= text_faults("note", "the note", wanted.note, LONGEST_NOTE)
    if not wanted.group_kind.strip():
        found["group_kind"] = "Enter the kind of group it holds for"
    if wanted.what not in RATED:
        found["what"] = "Choose which hours"
    if hundredths(wanted.per_hour) is None:
        found["per_hour"] = "Enter an amount for one hour such as 12.50; 0 where nothing is charged"
    if not CURRENCY.fullmatch(wanted.currency.strip().upper()):
        found["currency"] = "Enter the three letters of ISO 4217, such as EUR"
    if wanted.from_day is None:
        found["from_day"] = "Enter the first day, such as 2026-01-01"
    return found


def entries(session: Session) -> Sequence[Rate]:
    """Every rate ever entered, newest first."""
    return session.exec(select(Rate).order_by(col(Rate.id).desc())).all()


def holding(rows: Sequence[Rate], day: date) -> Mapping[tuple[str, str], Rate]:
    """(kind of group, hours) → the rate that holds on a day."""
    past = sorted((row for row in rows if row.from_day <= day), key=lambda row: (row.from_day, row.id or 0))
    return {(row.group_kind, row.what): row for row in past}
