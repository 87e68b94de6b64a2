"""Faults: reported by anybody, looked into, their cause found, mended or left as they are with a reason."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import contents, guards, parts
from server.cryostats.models import Cryostat
from server.cryostats.part_models import Part
from server.cryostats.rules import OPERATE
from server.errors import Forbidden, NotFound, Refused
from server.faults.causes import CAUSES
from server.faults.models import Fault, FaultEntry
from server.faults.rules import (
    FOUND,
    MENDED,
    OPEN,
    STATES,
    STILL_OPEN,
    Step,
    Where,
    report_faults,
    step_faults,
)
from server.history import service as history
from server.people.models import Person

LARGEST_KEY = 2**31 - 1


def subject(fault: Fault) -> str:
    """Under which name the history keeps what concerns a fault."""
    return f"fault/{fault.id}"


def address(fault: Fault) -> str:
    """Its page."""
    return f"/faults/{fault.id}"


def report(
    session: Session,
    person: history.Author,
    cryostat_id: int | None,
    what_seen: str,
    where: Where | str,
    now: datetime,
    severity: str = "slight",
    unread: Mapping[str, str] | None = None,
) -> Fault:
    """Write down what was seen. Anybody with an account may. A plain text for `where` is the place in words.

    `unread` are faults found while a form was read. Refused with the fields to mend.
    """
    where = Where(where) if isinstance(where, str) else where
    seen_at = where.at or now
    wrong = report_faults(what_seen, where, severity, seen_at, now)
    wrong |= _where_faults(session, cryostat_id, where) | dict(unread or {})
    if wrong:
        raise Refused("The fault was not stored.", wrong)
    row = Fault(
        cryostat_id=cryostat_id,
        what_seen=what_seen.strip(),
        place=where.place.strip(),
        part=where.part,
        element_key=where.element_key,
        severity=severity,
        seen_at=seen_at,
        at=now,
        by_name=person.name,
        by_id=person.id,
        state=OPEN,
    )
    session.add(row)
    session.flush()
    _write(session, person, row, Step(), now)
    history.note(session, person, subject(row), f"Fault {row.id} reported: {row.what_seen}", now)
    return row


def _where_faults(session: Session, cryostat_id: int | None, where: Where) -> dict[str, str]:
    found = {}
    cryostat = session.get(Cryostat, cryostat_id) if cryostat_id is not None else None
    if cryostat_id is not None and cryostat is None:
        found["cryostat"] = "Choose a cryostat, or none"
    known = contents.elements(session, cryostat, cryostat.revision) if cryostat and where.element_key else {}
    if where.element_key and where.element_key not in known:
        found["element"] = "Choose an element that is inside now, or none"
    if where.part and session.exec(select(Part.id).where(Part.tag == where.part)).first() is None:
        found["part"] = f"There is no part “{where.part[:40]}”; leave this empty, or say it in words"
    return found


def find(session: Session, number: int, *, lock: bool = False) -> Fault:
    """One fault; NotFound. With `lock`, nobody else may move it until the transaction ends."""
    query = select(Fault).where(Fault.id == number)
    if lock:
        query = query.with_for_update().execution_options(populate_existing=True)
    found = session.exec(query).first() if 0 < number <= LARGEST_KEY else None
    if found is None:
        raise NotFound("There is no such fault.")
    return found


def open_faults(session: Session, cryostat_id: int) -> Sequence[Fault]:
    """Those of one cryostat that are neither mended nor left as they are, the newest first."""
    query = select(Fault).where(Fault.cryostat_id == cryostat_id, col(Fault.state).in_(STILL_OPEN))
    return session.exec(query.order_by(col(Fault.id).desc())).all()


def listed(
    session: Session,
    cryostat_id: int | None = None,
    states: Sequence[str] = (),
    before: int | None = None,
    limit: int = 50,
) -> Sequence[Fault]:
    """The newest first; of one cryostat, in some states, with a smaller number, where that is asked for."""
    query = select(Fault)
    if cryostat_id is not None:
        query = query.where(Fault.cryostat_id == cryostat_id)
    if states:
        query = query.where(col(Fault.state).in_(states))
    if before is not None:
        query = query.where(col(Fault.id) < before)
    return session.exec(query.order_by(col(Fault.id).desc()).limit(limit)).all()


def entries(session: Session, fault: Fault) -> Sequence[FaultEntry]:
    """Every step, the oldest first."""
    query = select(FaultEntry).where(FaultEntry.fault_id == fault.id)
    return session.exec(query.order_by(col(FaultEntry.id))).all()


def may_move(session: Session, person: Person, fault: Fault) -> bool:
    """True for whoever may say where it stands: who reported or owns it, or operates the cryostat."""
    if person.id is not None and person.id in (fault.by_id, fault.owner_id):
        return True
    if fault.cryostat_id is None:
        return parts.grade_anywhere(session, person) >= OPERATE
    return guards.grades_of(session, person).get(fault.cryostat_id, 0) >= OPERATE or person.steward


def add(
    session: Session,
    person: Person,
    number: int,
    step: Step,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> FaultEntry:
    """A step: a note of anybody, or where it stands, its owner, its cause. What was written stays."""
    fault = find(session, number, lock=True)
    moves = bool(step.state or step.cause) or step.owner_login is not None
    if moves and not may_move(session, person, fault):
        raise Forbidden("A note is welcome; where it stands is said by whoever operates the cryostat.")
    wrong = step_faults(step, fault.state) | dict(unread or {})
    owner = _owner(session, step, wrong)
    if wrong:
        raise Refused("Nothing was stored.", wrong)
    if step.owner_login is not None:
        fault.owner_name = owner.name if owner else ""
        fault.owner_id = owner.id if owner else None
    _move(fault, step)
    session.add(fault)
    row = _write(session, person, fault, step, now)
    history.note(session, person, subject(fault), _line(fault, step), now)
    return row


def _owner(session: Session, step: Step, wrong: dict[str, str]) -> Person | None:
    if not step.owner_login:
        return None
    query = select(Person).where(Person.login == step.owner_login, col(Person.active))
    found = session.exec(query).first()
    if found is None:
        wrong["owner"] = "Choose somebody with an account, or nobody"
    return found


def _move(fault: Fault, step: Step) -> None:
    fault.state = step.state or fault.state
    if step.cause:
        fault.cause, fault.cause_words = step.cause, step.text.strip()
    if step.state == MENDED:
        fault.remedy = step.text.strip()


def _line(fault: Fault, step: Step) -> str:
    words = [f"Fault {fault.id}"]
    words += [STATES[fault.state]] if step.state else []
    words += [f"cause: {CAUSES[step.cause].lower()}"] if step.cause else []
    words += [f"owner {fault.owner_name or 'nobody'}"] if step.owner_login is not None else []
    return ", ".join(words) + (f": {step.text.strip()}" if step.text.strip() else "")


def _write(session: Session, person: history.Author, fault: Fault, step: Step, now: datetime) -> FaultEntry:
    assert fault.id is not None
    row = FaultEntry(
        fault_id=fault.id,
        state=fault.state,
        owner_name=fault.owner_name,
        cause=step.cause,
        text=step.text.strip(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def cause_found(
    session: Session, person: Person, number: int, cause: str, words: str, now: datetime
) -> FaultEntry:
    """Say which cause of the list it was, with words where they help."""
    return add(session, person, number, Step(words, FOUND, cause), now)
