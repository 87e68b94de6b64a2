"""Parts with identity: entered, described anew, moved, tested, lent, brought back; nothing is forgotten."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.cryostats import guards
from server.cryostats.models import Cryostat, ElementRow, Revision
from server.cryostats.part_models import Part, PartEntry, PartLoan, PartReturn
from server.cryostats.part_rules import (
    ON_LOAN,
    SHELF,
    STATES,
    Described,
    Lent,
    Told,
    described_faults,
    lent_faults,
    state_of,
    told_faults,
)
from server.cryostats.rules import GRADES, KEY, OPEN, REWIRE, text_faults
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.people.models import Person

NOT_STORED = "Nothing was stored."


@dataclass(frozen=True)
class Stay:
    """A stretch of revisions in which an element was this part."""

    cryostat: Cryostat
    element: ElementRow
    since: Revision
    until: Revision | None


@dataclass(frozen=True)
class _Step:
    what: str
    on_day: date
    test: str = ""
    result: str = ""
    note: str = ""


@dataclass(frozen=True)
class LoanOut:
    """A loan, with its return when it came back."""

    loan: PartLoan
    back: PartReturn | None


def grade_anywhere(session: Session, person: Person) -> int:
    """The highest grade on any cryostat: parts go from one to another."""
    if person.steward:
        return max(GRADES)
    return max(guards.grades_of(session, person).values(), default=0)


def need(session: Session, person: Person, grade: int) -> None:
    """Forbidden unless the person has this grade on some cryostat."""
    if grade_anywhere(session, person) < grade:
        raise Forbidden(f"This needs grade {grade} ({GRADES[grade]}) on at least one cryostat.")


def find(session: Session, tag: str, *, lock: bool = False) -> Part:
    """The part of this tag; NotFound. With `lock`, nobody else changes it until the transaction ends."""
    query = select(Part).where(Part.tag == tag)
    if lock:
        query = query.with_for_update().execution_options(populate_existing=True)
    found = session.exec(query).first() if KEY.fullmatch(tag) else None
    if found is None:
        raise NotFound(f"There is no part “{tag}”.")
    return found


def listed(session: Session, kind: str = "") -> Sequence[Part]:
    """The parts, by kind and tag; of one kind when it is given."""
    query = select(Part).order_by(col(Part.kind), col(Part.tag))
    return session.exec(query.where(Part.kind == kind) if kind else query).all()


def inside(session: Session) -> dict[str, Cryostat]:
    """Tag → the cryostat in which an element is this part now; one query."""
    query = (
        select(ElementRow.part, Cryostat)
        .join(Cryostat, col(Cryostat.id) == col(ElementRow.cryostat_id))
        .where(ElementRow.part != "", col(ElementRow.to_revision).is_(None))
    )
    return dict(session.exec(query).all())


def enter(session: Session, person: Person, said: Described, at: datetime, today: date) -> Part:
    """A new part. Its tag is its name for ever."""
    need(session, person, REWIRE)
    found = described_faults(said)
    if not found and session.exec(select(Part.id).where(Part.tag == said.tag)).first() is not None:
        found["tag"] = f"There is a part “{said.tag}” already; a tag is given once"
    if found:
        raise Refused("The part was not stored.", found)
    part = Part(
        tag=said.tag,
        kind=said.kind,
        name=said.name.strip(),
        serial=said.serial,
        about=dict(said.about),
        state=said.state,
        place=said.place,
        made_at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(part)
    try:
        session.flush()
    except IntegrityError as problem:
        raise Conflict(f"Somebody entered a part “{said.tag}” just now; a tag is given once.") from problem
    _write(session, person, part, _Step(what="entered", on_day=today, note=said.note), at, whole=True)
    return part


def describe(session: Session, person: Person, said: Described, at: datetime, today: date) -> Part:
    """Another description of a part that is there: a new calibration, a better name."""
    need(session, person, REWIRE)
    part = find(session, said.tag, lock=True)
    kept = Described(part.tag, part.kind, said.name, said.serial, said.about, note=said.note)
    found = described_faults(kept)
    if found:
        raise Refused("The description was not stored.", found)
    part.name, part.serial, part.about = said.name.strip(), said.serial, dict(said.about)
    _write(session, person, part, _Step(what="described", on_day=today, note=said.note), at, whole=True)
    return part


def tell(session: Session, person: Person, tag: str, said: Told, at: datetime, today: date) -> PartEntry:
    """Where it is, what state it is in, what a test gave. Nothing to tell is refused."""
    need(session, person, OPEN)
    part = find(session, tag, lock=True)
    found = told_faults(said, part.state, today)
    moved = (said.state, said.place) != (part.state, part.place)
    if not found and not moved and not said.test and not said.note:
        found["note"] = "Enter what happened: a test, another place or state, or a note"
    if found:
        raise Refused(NOT_STORED, found)
    part.state, part.place = said.state, said.place
    what = "tested" if said.test else "moved" if moved else "noted"
    entry = _Step(what=what, on_day=said.on_day, test=said.test, result=said.result, note=said.note)
    return _write(session, person, part, entry, at)


def lend(session: Session, person: Person, tag: str, said: Lent, at: datetime, today: date) -> PartLoan:
    """To another cryostat or another laboratory; Conflict while it is out already."""
    need(session, person, REWIRE)
    part = find(session, tag, lock=True)
    assert part.id is not None
    if part.state == ON_LOAN:
        out = next(row.loan for row in loans(session, part) if row.back is None)
        raise Conflict(f"{part.name} is with {out.to_whom} already, due back {out.due_on}.")
    found = lent_faults(said, part.state, today)
    inside = next((stay for stay in stays(session, tag) if stay.until is None), None)
    if inside:
        found["to_whom"] = f"It is inside {inside.cryostat.name}; take it out there first"
    if found:
        raise Refused("The loan was not stored.", found)
    to = guards.find(session, said.to_cryostat) if said.to_cryostat else None
    loan = PartLoan(
        part_id=part.id,
        to_whom=said.to_whom.strip(),
        to_cryostat_id=to.id if to else None,
        lent_on=said.lent_on,
        due_on=said.due_on,
        note=said.note,
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(loan)
    part.state, part.place = ON_LOAN, loan.to_whom
    note = f"To {loan.to_whom}{f' ({to.name})' if to else ''}, due back {said.due_on}. {said.note}".strip()
    _write(session, person, part, _Step(what="lent", on_day=said.lent_on, note=note), at)
    return loan


def bring_back(
    session: Session, person: Person, tag: str, on_day: date, place: str, note: str, at: datetime, today: date
) -> PartReturn:
    """A loan that came back, to `place`; Conflict when it is not out."""
    need(session, person, OPEN)
    part = find(session, tag, lock=True)
    out = next((row.loan for row in loans(session, part) if row.back is None), None)
    if out is None or out.id is None:
        raise Conflict(f"{part.name} is not on loan.")
    found = text_faults("place", "it", place, 200) | text_faults("note", "the note", note, 2000)
    there = inside(session).get(tag)
    if there is not None:
        found["place"] = f"It is inside {there.name}; take it out there first"
    if not out.lent_on <= on_day <= today:
        found["on_day"] = f"It came back between {out.lent_on} and today"
    if found:
        raise Refused(NOT_STORED, found)
    row = PartReturn(loan_id=out.id, on_day=on_day, note=note, at=at, by_name=person.name, by_id=person.id)
    session.add(row)
    part.state, part.place = SHELF, place
    told = f"From {out.to_whom}. {note}".strip()
    _write(session, person, part, _Step(what="brought back", on_day=on_day, note=told), at)
    return row


def _write(
    session: Session, person: Person, part: Part, step: _Step, at: datetime, *, whole: bool = False
) -> PartEntry:
    """The entry with the state and place that hold from it on, and the line in the record."""
    assert part.id is not None
    entry = PartEntry(
        part_id=part.id,
        **vars(step),
        state=part.state,
        place=part.place,
        about={"name": part.name, "serial": part.serial, **part.about} if whole else {},
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add_all((part, entry))
    session.flush()
    told = f": {step.test}, {step.result}" if step.test else f": {_where(session, part)}"
    history.note(session, person, f"part/{part.tag}", f"Part {part.tag} {step.what}{told}", at)
    return entry


def _where(session: Session, part: Part) -> str:
    return f"{STATES[state_of(part.state, part.tag in inside(session))]}, {part.place or '–'}"


def entries(session: Session, part: Part) -> Sequence[PartEntry]:
    """Everything that happened to it, newest first."""
    query = select(PartEntry).where(PartEntry.part_id == part.id)
    return session.exec(query.order_by(col(PartEntry.id).desc())).all()


def loans(session: Session, part: Part | None = None) -> tuple[LoanOut, ...]:
    """Its loans, newest first; without a part, those of all that are not back, the first due first."""
    query = select(PartLoan, PartReturn).join(
        PartReturn, col(PartReturn.loan_id) == col(PartLoan.id), isouter=True
    )
    if part is None:
        query = query.where(col(PartReturn.id).is_(None)).order_by(col(PartLoan.due_on))
    else:
        query = query.where(PartLoan.part_id == part.id).order_by(col(PartLoan.id).desc())
    return tuple(LoanOut(loan, back) for loan, back in session.exec(query).all())


def stays(session: Session, tag: str) -> tuple[Stay, ...]:
    """Where the part of this tag has been: every stretch of revisions, of every cryostat, newest first.

    An element that was altered and stayed the same part is one stretch.
    """
    query = (
        select(ElementRow, Cryostat)
        .join(Cryostat, col(Cryostat.id) == col(ElementRow.cryostat_id))
        .where(ElementRow.part == tag)
        .order_by(col(ElementRow.cryostat_id), col(ElementRow.key), col(ElementRow.from_revision))
    )
    spans: list[tuple[Cryostat, ElementRow, int, int | None]] = []
    for row, cryostat in session.exec(query).all():
        last = spans[-1] if spans else None
        if last and (last[0].id, last[1].key, last[3]) == (cryostat.id, row.key, row.from_revision):
            spans[-1] = (cryostat, row, last[2], row.to_revision)
        else:
            spans.append((cryostat, row, row.from_revision, row.to_revision))
    found = [Stay(c, row, _at(session, c, since), _end(session, c, until)) for c, row, since, until in spans]
    return tuple(sorted(found, key=lambda stay: stay.since.done_at, reverse=True))


def _at(session: Session, cryostat: Cryostat, number: int) -> Revision:
    query = select(Revision).where(Revision.cryostat_id == cryostat.id, Revision.number == number)
    return session.exec(query).one()


def _end(session: Session, cryostat: Cryostat, number: int | None) -> Revision | None:
    return None if number is None else _at(session, cryostat, number)
