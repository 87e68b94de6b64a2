"""Logging a change, showing any revision, comparing two, bringing one back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from server.cryostats import budget, contents, guards, part_pointers, rules, window
from server.cryostats.models import BudgetRow, Cryostat, ElementRow, Revision
from server.cryostats.rules import Change, Difference, Put
from server.cryostats.window_rules import BY_HAND, Way
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.materials import service as materials
from server.people.models import Person
from server.physics import thermal


@dataclass(frozen=True)
class Step:
    """One revision with what it did."""

    revision: Revision
    difference: Difference


@dataclass(frozen=True)
class Preview:
    """What a change would do: the budget now and then, and the difference of the configurations."""

    now: thermal.Budget
    then: budget.Found
    difference: Difference
    before: Mapping[str, Put]
    after: Mapping[str, Put]


@dataclass(frozen=True)
class Logged:
    """A change as it was logged."""

    revision: Revision
    budget: BudgetRow
    difference: Difference


def revision(session: Session, cryostat: Cryostat, number: int) -> Revision:
    """One revision; NotFound outside 1 to the newest."""
    query = select(Revision).where(Revision.cryostat_id == cryostat.id, Revision.number == number)
    found = session.exec(query).first() if 1 <= number <= cryostat.revision else None
    if found is None:
        raise NotFound(f"{cryostat.name} has no revision {number}.")
    return found


def revisions(
    session: Session, cryostat: Cryostat, limit: int = 100, before: int | None = None
) -> Sequence[Revision]:
    """The newest revisions, newest first; with `before`, those with a smaller number."""
    query = select(Revision).where(Revision.cryostat_id == cryostat.id)
    if before is not None:
        query = query.where(Revision.number < before)
    return session.exec(query.order_by(col(Revision.number).desc()).limit(limit)).all()


def compare(session: Session, cryostat: Cryostat, first: int, second: int) -> Difference:
    """What changed from one revision to another."""
    return rules.difference(
        contents.elements(session, cryostat, first), contents.elements(session, cryostat, second)
    )


def steps_since(session: Session, cryostat: Cryostat, number: int) -> list[Step]:
    """What others logged after revision `number`, oldest first."""
    query = select(Revision).where(Revision.cryostat_id == cryostat.id, Revision.number > number)
    rows = session.exec(query.order_by(col(Revision.number))).all()
    states = contents.since(session, cryostat, number)
    return [Step(row, rules.difference(states[row.number - 1], states[row.number])) for row in rows]


def preview(session: Session, cryostat: Cryostat, change: Change, on: int | None = None) -> Preview:
    """The budget before and after `change`, nothing stored. Elements that cannot be read are refused.

    `on` is the revision the change is drawn on; before is always what is inside now.
    """
    present = contents.elements(session, cryostat, cryostat.revision)
    ground = present if on is None else contents.elements(session, cryostat, on)
    found = rules.key_faults(change, ground) | rules.shutter_faults(change, ground)
    found |= budget.element_faults(change.put, cryostat, materials.in_force(session))
    if found:
        raise Refused("Nothing was computed.", found)
    after = rules.applied(ground, change)
    then = budget.compute(session, cryostat, after)
    now = budget.of_revision(session, cryostat, cryostat.revision)
    return Preview(now.budget, then, rules.difference(present, after), present, after)


def log_change(
    session: Session,
    person: Person,
    slug: str,
    change: Change,
    at: datetime,
    faults: Mapping[str, str] | None = None,
    *,
    restored: int | None = None,
    way: Way = BY_HAND,
) -> Logged:
    """Make `change` the next revision of the cryostat, with its budget, in this transaction.

    `faults` are what the reader of the form or the body has found already. Forbidden below the grade the
    change needs, which is lower when it comes from a draft (`way`), and where the table of a cold window says
    no; Conflict when somebody was first, with what they logged; Refused when a field or a rule is
    broken, with all of them at once.
    """
    cryostat = guards.find(session, slug, lock=True)
    present = contents.elements(session, cryostat, cryostat.revision)
    guards.need(session, person, cryostat, min(rules.needed_grade(change, present), way.most_grade))
    window.need_let(session, person, cryostat, change, present, at, way)
    _refuse_stale(session, cryostat, change)
    wrong = budget.element_faults(change.put, cryostat, materials.in_force(session))
    wrong |= part_pointers.faults(session, cryostat, change, present) | dict(faults or {})
    if restored is None:
        # Bringing back a revision from before the lid was entered is no way of taking it out.
        wrong |= rules.shutter_faults(change, present)
    difference = _checked(change, present, at, wrong)
    row = _write(session, person, cryostat, change, difference, at, restored)
    stored = budget.store(session, cryostat, cryostat.revision, at)
    line = f"Revision {row.number}: {difference.words}. {row.reason}"
    history.note(session, person, f"cryostat/{slug}", line, at, {"revision": row.number})
    return Logged(row, stored, difference)


def restore(
    session: Session, person: Person, slug: str, number: int, base: int, reason: str, at: datetime
) -> Logged:
    """Bring a past revision back, as a new one on top of `base`."""
    cryostat = guards.find(session, slug, lock=True)
    if number != 0:
        revision(session, cryostat, number)
    present = contents.elements(session, cryostat, cryostat.revision)
    wanted = contents.elements(session, cryostat, number)
    change = rules.restoring(present, wanted, reason, base)
    if not change.put and not change.remove:
        raise Refused(f"Revision {number} is what is inside now; there is nothing to bring back.")
    return log_change(session, person, slug, change, at, restored=number)


def _refuse_stale(session: Session, cryostat: Cryostat, change: Change) -> None:
    if change.base_revision == cryostat.revision:
        return
    if change.base_revision > cryostat.revision or change.base_revision < 0:
        message = f"There is no revision {change.base_revision}; the newest is {cryostat.revision}"
        raise Refused("The change was not logged.", {"base_revision": message})
    raise Conflict(
        f"Somebody changed {cryostat.name} since revision {change.base_revision}; "
        f"it is at {cryostat.revision} now.",
        steps_since(session, cryostat, change.base_revision),
    )


def _checked(
    change: Change, present: Mapping[str, Put], at: datetime, faults: Mapping[str, str]
) -> Difference:
    found = rules.faults(change, present, at) | dict(faults)
    if found:
        raise Refused("The change was not logged.", found)
    difference = rules.difference(present, rules.applied(present, change))
    if difference.empty:
        raise Refused("The change was not logged.", {"put": "Nothing differs from what is inside now"})
    return difference


def _write(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    change: Change,
    difference: Difference,
    at: datetime,
    restored: int | None,
) -> Revision:
    assert cryostat.id is not None
    number = cryostat.revision + 1
    ended = {put.key for put in difference.taken} | {row.after.key for row in difference.altered}
    current = select(ElementRow).where(
        ElementRow.cryostat_id == cryostat.id,
        col(ElementRow.to_revision).is_(None),
        col(ElementRow.key).in_(ended),
    )
    for old in session.exec(current).all():
        old.to_revision = number
        session.add(old)
    session.flush()
    rows = [_row(cryostat.id, put, number) for put in rules.puts_of(difference)]
    if rows:
        session.execute(sa.insert(ElementRow), rows)
    row = Revision(
        cryostat_id=cryostat.id,
        number=number,
        base=change.base_revision,
        reason=change.reason.strip(),
        restored=restored,
        done_at=change.done_at or at,
        recorded_at=at,
        by_name=person.name,
        by_id=person.id,
    )
    cryostat.revision = number
    session.add_all((row, cryostat))
    session.flush()
    return row


def _row(cryostat_id: int, put: Put, number: int) -> dict[str, Any]:
    return {
        "cryostat_id": cryostat_id,
        "key": put.key,
        "kind": put.kind,
        "label": put.label,
        "note": put.note,
        "house": put.house,
        "part": put.part,
        "data": dict(put.data),
        "from_revision": number,
    }
