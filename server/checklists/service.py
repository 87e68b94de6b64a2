"""Checklists gone through: begun, answered line by line, read by the rooms that ask for them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, func, select

from server.checklists import lists, records
from server.checklists.generated import counted_in
from server.checklists.lines import Line, as_json, from_json
from server.checklists.models import Answer, Checklist
from server.checklists.rules import (
    FAILED,
    LONGEST_ABOUT,
    OUTCOMES,
    Standing,
    answer_faults,
    standing_of,
)
from server.cryostats import contents, guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import text_faults
from server.errors import NotFound, Refused
from server.faults import service as faults
from server.faults.rules import Step, Where
from server.history import service as history
from server.people.models import Person

LARGEST_KEY = 2**31 - 1


@dataclass(frozen=True)
class Said:
    """An answer: done, failed or skipped; what was written down, in SI; words for a line that is not done."""

    outcome: str
    record: Mapping[str, Any] = field(default_factory=dict)
    words: str = ""


def address(checklist: Checklist) -> str:
    """Its page; `/part` behind it is where it stands, as a part of another page."""
    return f"/checklists/{checklist.id}"


def title(checklist: Checklist) -> str:
    """What it is called: its list, and what it belongs to."""
    name = lists.about(checklist.list_key).title
    return f"{name}: {checklist.about}" if checklist.about else name


def start(
    session: Session, person: Person, cryostat: Cryostat, list_key: str, about: str, now: datetime
) -> Checklist:
    """Begin a list with the lines of its newest version and of what is inside now."""
    cryostat = guards.find(session, cryostat.slug, lock=True)
    own = lists.about(list_key)
    guards.need(session, person, cryostat, own.grade)
    wrong = text_faults("about", "it", about, LONGEST_ABOUT)
    if wrong:
        raise Refused("The checklist was not begun.", wrong)
    version = lists.stored(session, cryostat, list_key)
    assert cryostat.id is not None
    assert version.id is not None
    row = Checklist(
        cryostat_id=cryostat.id,
        version_id=version.id,
        list_key=list_key,
        about=about.strip(),
        revision=cryostat.revision,
        lines=[as_json(line) for line in counted_in(session, cryostat, lists.lines_of(version))],
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    history.note(session, person, f"cryostat/{cryostat.slug}", f"Checklist begun: {title(row)}", now)
    return row


def find(session: Session, number: int, *, lock: bool = False) -> Checklist:
    """One checklist; NotFound. With `lock`, nobody else may answer it until the transaction ends."""
    query = select(Checklist).where(Checklist.id == number)
    if lock:
        query = query.with_for_update()
    found = session.exec(query).first() if 0 < number <= LARGEST_KEY else None
    if found is None:
        raise NotFound("There is no such checklist.")
    return found


def of_cryostat(session: Session, cryostat: Cryostat, limit: int = 20) -> Sequence[Checklist]:
    """The newest first."""
    query = select(Checklist).where(Checklist.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(Checklist.id).desc()).limit(limit)).all()


def lines_of(checklist: Checklist) -> list[Line]:
    """Its lines, as they were worded when it was begun."""
    return [from_json(row) for row in checklist.lines]


def answers(session: Session, numbers: Sequence[int]) -> dict[int, dict[str, Answer]]:
    """Checklist → line → its newest answer; one query for as many as there are."""
    query = select(Answer).where(col(Answer.checklist_id).in_(numbers)).order_by(col(Answer.id))
    found: dict[int, dict[str, Answer]] = {number: {} for number in numbers}
    for row in session.exec(query).all():
        found[row.checklist_id][row.line_key] = row
    return found


def last_failed(session: Session, cryostat: Cryostat, list_key: str) -> dict[str, datetime]:
    """Line of the list → when it was last not right here, whichever lag or joint it was counted for."""
    query = (
        select(Answer.line_key, func.max(Answer.at))
        .join(Checklist, col(Checklist.id) == col(Answer.checklist_id))
        .where(Checklist.cryostat_id == cryostat.id, Checklist.list_key == list_key, Answer.outcome == FAILED)
        .group_by(col(Answer.line_key))
    )
    found: dict[str, datetime] = {}
    for line_key, at in session.exec(query).all():
        key = line_key.partition("/")[0]
        found[key] = max(at, found.get(key, at))
    return found


def first_begun(session: Session, cryostat: Cryostat, list_key: str) -> datetime | None:
    """When a list was first gone through here; None for never."""
    query = select(func.min(Checklist.at)).where(
        Checklist.cryostat_id == cryostat.id, Checklist.list_key == list_key
    )
    return session.exec(query).one()


def standing(session: Session, checklist_id: int) -> Standing:
    """Where one checklist stands; NotFound."""
    found = find(session, checklist_id)
    return standing_of(found.list_key, lines_of(found), answers(session, [checklist_id])[checklist_id])


def answer(
    session: Session,
    person: Person,
    checklist_id: int,
    line_key: str,
    said: Said,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> Answer:
    """Answer a line, or answer it again: the newest counts, the earlier ones stay.

    A line that is not right opens a fault, once. Refused with the fields to mend; `unread` are a form's.
    """
    checklist = find(session, checklist_id, lock=True)
    cryostat = session.get_one(Cryostat, checklist.cryostat_id)
    guards.need(session, person, cryostat, lists.about(checklist.list_key).grade)
    line = find_line(checklist, line_key)
    record = dict(said.record)
    wrong = answer_faults(line, said.outcome, said.words)
    wrong |= records.faults(line, record, said.outcome, person.name) | dict(unread or {})
    if wrong:
        raise Refused("The line was not stored.", wrong)
    row = Answer(
        checklist_id=checklist_id,
        line_key=line.key,
        text=line.text,
        outcome=said.outcome,
        record=record,
        words=said.words.strip(),
        remarks=records.remarks(line, record),
        fault_id=_fault(session, person, checklist, line, said, now),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    history.note(session, person, f"checklist/{checklist_id}", _told(line, row), now)
    return row


def find_line(checklist: Checklist, line_key: str) -> Line:
    """One line of it; NotFound."""
    found = next((line for line in lines_of(checklist) if line.key == line_key), None)
    if found is None:
        raise NotFound("This checklist has no such line.")
    return found


def _fault(
    session: Session, person: Person, checklist: Checklist, line: Line, said: Said, now: datetime
) -> int | None:
    """The fault of a line that is not right: the one it opened before, or a new one."""
    earlier = answers(session, [checklist.id or 0])[checklist.id or 0].get(line.key)
    number = earlier.fault_id if earlier else None
    written = ", ".join(filter(None, (said.words.strip(), records.words(line, dict(said.record)))))
    if number is not None:
        words = f"The checklist's line reads {OUTCOMES[said.outcome]} now. {written}".strip()
        faults.add(session, person, number, Step(words), now)
        return number if said.outcome == FAILED else None
    if said.outcome != FAILED:
        return None
    seen = f"{line.text}: not right. {written}".strip()
    cryostat = session.get_one(Cryostat, checklist.cryostat_id)
    still = line.element if line.element in contents.elements(session, cryostat, cryostat.revision) else ""
    where = Where(f"Checklist {checklist.id}, {title(checklist)}"[:LONGEST_ABOUT], line.part, still)
    return faults.report(session, person, checklist.cryostat_id, seen, where, now, "disturbs").id


def _told(line: Line, row: Answer) -> str:
    parts = (row.words, records.words(line, row.record))
    more = ", ".join(filter(None, parts))
    return f"{line.text}: {OUTCOMES[row.outcome]}" + (f", {more}" if more else "")
