"""The numbers in force: read for a cryostat, set by a steward with a reason."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from server.bookings import numbers
from server.bookings.models import RuleEntry
from server.bookings.numbers import NUMBERS, Numbers
from server.bookings.worktime import WorkTime
from server.cryostats import guards
from server.cryostats.rules import LONGEST_REASON, text_faults
from server.errors import Forbidden, Refused
from server.history import service as history
from server.laboratory import service as laboratory
from server.people.models import Person

LABORATORY = "laboratory"


def in_force(session: Session, *scopes: str) -> dict[str, Numbers]:
    """Scope → the numbers that hold there: its own, else the laboratory's, else the default."""
    query = select(RuleEntry).where(col(RuleEntry.scope).in_((LABORATORY, *scopes)))
    own: dict[str, dict[str, str]] = {scope: {} for scope in (LABORATORY, *scopes)}
    for row in session.exec(query.order_by(col(RuleEntry.id))).all():
        own[row.scope][row.name] = row.value
    # A value taken back is empty, and leaves what stands above it.
    house = {name: value for name, value in own[LABORATORY].items() if value}
    return {
        scope: Numbers(house | {name: value for name, value in rows.items() if value})
        for scope, rows in own.items()
    }


def numbers_of(session: Session, slug: str = LABORATORY) -> Numbers:
    """The numbers for one cryostat, or for the laboratory."""
    return in_force(session, slug)[slug]


def work_time(session: Session, rules: Numbers) -> WorkTime:
    """When this laboratory works."""
    kept = laboratory.get(session)
    country, region = rules.text("country"), rules.text("region")
    return WorkTime(kept.zone, kept.working_days, kept.opens, kept.closes, country, region)


def entries(session: Session, scope: str) -> Sequence[RuleEntry]:
    """Everything ever set in this scope, newest first."""
    query = select(RuleEntry).where(RuleEntry.scope == scope)
    return session.exec(query.order_by(col(RuleEntry.id).desc())).all()


def write(
    session: Session, person: Person, scope: str, name: str, value: str, reason: str, at: datetime
) -> RuleEntry:
    """Set one number, or take it back with an empty value; only a steward may, and says why."""
    if not person.steward:
        raise Forbidden("Only a steward may alter the rules of booking.")
    if scope != LABORATORY:
        guards.find(session, scope)
    value, before = value.strip(), numbers_of(session, scope)
    found = text_faults("reason", "the reason", reason, LONGEST_REASON)
    if not reason.strip():
        found["reason"] = "Enter why, in a few words"
    fault = numbers.faults(name, value, scope == LABORATORY, before.text("country"))
    if fault and (value or name not in NUMBERS):
        found["value"] = fault
    elif before.set.get(name, "") == value:
        found["value"] = "Nothing differs from what holds now"
    if found:
        raise Refused("The number was not stored.", found)
    row = RuleEntry(
        scope=scope,
        name=name,
        value=value,
        reason=reason.strip(),
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    line = f"Booking rule: {NUMBERS[name].words}: {value or 'as before'}. {row.reason}"
    history.note(session, person, scope if scope == LABORATORY else f"cryostat/{scope}", line, at)
    return row
