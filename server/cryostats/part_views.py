"""What the pages of the parts show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import Session, col, select

from server.cryostats import part_photographs, parts
from server.cryostats.models import Cryostat, ElementRow
from server.cryostats.part_models import Part, PartEntry
from server.cryostats.part_photographs import Shown
from server.cryostats.part_rules import KINDS, ON_LOAN, SHELF, STATES, TOLD, Asked, state_of
from server.cryostats.parts import LoanOut, Stay
from server.cryostats.rules import OPEN, REWIRE
from server.people.models import Person

STATE_MARKS = {"in-use": "good", "on-loan": "warn", "broken": "bad", "retired": "plain", "shelf": "plain"}


@dataclass(frozen=True)
class PartLine:
    """One part in the list."""

    part: Part
    kind: str
    state: str
    words: str
    """The state, as people say it."""
    mark: str
    inside: tuple[str, str] | None
    """Name and address of the cryostat it is inside now."""


@dataclass(frozen=True)
class Due:
    """A loan that is out."""

    out: LoanOut
    part: Part
    late: bool


@dataclass(frozen=True)
class PartsView:
    """Every part."""

    rows: tuple[PartLine, ...]
    due: tuple[Due, ...]
    kind: str
    state: str
    may_enter: bool
    kinds: Sequence[tuple[str, str]] = field(default_factory=lambda: [(k, v.label) for k, v in KINDS.items()])
    states: Sequence[tuple[str, str]] = field(default_factory=lambda: list(STATES.items()))


@dataclass(frozen=True)
class PartView:
    """One part: what it is, where it has been, what happened to it."""

    line: PartLine
    facts: tuple[tuple[str, str], ...]
    stays: tuple[Stay, ...]
    entries: Sequence[PartEntry]
    loans: tuple[LoanOut, ...]
    grade: int
    cryostats: Sequence[tuple[str, str]]
    today: date
    faults: Mapping[str, str]
    typed: Mapping[str, str]
    states: Sequence[tuple[str, str]]
    plates: Sequence[Shown]

    @property
    def on_loan(self) -> bool:
        """True while it is out."""
        return self.line.part.state == ON_LOAN

    @property
    def may_tell(self) -> bool:
        """True when this person may enter tests, places and states."""
        return self.grade >= OPEN

    @property
    def may_lend(self) -> bool:
        """True when this person may lend it and describe it anew."""
        return self.grade >= REWIRE


@dataclass(frozen=True)
class PartFormView:
    """The form of a new part, or of another description of one."""

    kind: str
    label: str
    asked: tuple[Asked, ...]
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    part: Part | None = None
    kinds: Sequence[tuple[str, str]] = field(default_factory=lambda: [(k, v.label) for k, v in KINDS.items()])
    states: Sequence[tuple[str, str]] = field(default_factory=lambda: list(TOLD.items()))


def page(session: Session, person: Person, kind: str, state: str, today: date) -> PartsView:
    """The list, of one kind or in one state when these are given."""
    inside = parts.inside(session)
    by_id = {row.id: row for row in parts.listed(session)}
    lines = [_line(row, inside) for row in parts.listed(session, kind)]
    due = tuple(Due(out, by_id[out.loan.part_id], out.loan.due_on < today) for out in parts.loans(session))
    may = parts.grade_anywhere(session, person) >= REWIRE
    shown = tuple(row for row in lines if state in ("", row.state))
    return PartsView(shown, due, kind, state, may)


def one(
    session: Session,
    person: Person,
    tag: str,
    today: date,
    faults: Mapping[str, str] | None = None,
    typed: Mapping[str, str] | None = None,
) -> PartView:
    """The page of one part; with `faults`, what was typed stays in its form."""
    part = parts.find(session, tag)
    line = _line(part, parts.inside(session))
    rows = session.exec(select(Cryostat).order_by(Cryostat.name)).all()
    return PartView(
        line=line,
        facts=_facts(part),
        stays=parts.stays(session, tag),
        entries=parts.entries(session, part),
        loans=parts.loans(session, part),
        grade=parts.grade_anywhere(session, person),
        cryostats=[("", "no, to another laboratory"), *((row.slug, row.name) for row in rows)],
        today=today,
        faults=faults or {},
        typed=typed or {},
        states=[
            (key, STATES[line.state] if key == SHELF and line.inside else words)
            for key, words in TOLD.items()
        ],
        plates=part_photographs.of_part(session, part),
    )


def form(
    kind: str,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
    part: Part | None = None,
) -> PartFormView:
    """The form for a part of this kind; with `part`, filled with what is known of it."""
    about = KINDS[kind] if kind in KINDS else KINDS["loom"]
    if part is not None and typed is None:
        known = {f"about.{name}": text for name, text in part.about.items()}
        typed = {"name": part.name, "serial": part.serial, **known}
    shown = kind if kind in KINDS else "loom"
    return PartFormView(shown, about.label, about.asked, typed or {}, faults or {}, part)


def _line(part: Part, inside: Mapping[str, Cryostat]) -> PartLine:
    there = inside.get(part.tag)
    state = state_of(part.state, there is not None)
    at = (there.name, f"/cryostats/{there.slug}") if there else None
    return PartLine(part, KINDS[part.kind].label, state, STATES[state], STATE_MARKS[state], at)


@dataclass(frozen=True)
class LentHere:
    """A part that is lent to this cryostat."""

    out: LoanOut
    part: Part
    late: bool


@dataclass(frozen=True)
class CryostatPartsView:
    """The parts of one cryostat: those its elements are, and those that are lent to it."""

    cryostat: Cryostat
    inside: Sequence[tuple[ElementRow, Part]]
    lent: Sequence[LentHere]


def of_cryostat(session: Session, cryostat: Cryostat, today: date) -> CryostatPartsView:
    """What is inside it by tag, and what it has to give back."""
    query = (
        select(ElementRow, Part)
        .join(Part, col(Part.tag) == col(ElementRow.part))
        .where(ElementRow.cryostat_id == cryostat.id, col(ElementRow.to_revision).is_(None))
    )
    by_id = {row.id: row for row in parts.listed(session)}
    lent = [
        LentHere(out, by_id[out.loan.part_id], out.loan.due_on < today)
        for out in parts.loans(session)
        if out.loan.to_cryostat_id == cryostat.id
    ]
    return CryostatPartsView(cryostat, session.exec(query.order_by(ElementRow.part)).all(), lent)


def _facts(part: Part) -> tuple[tuple[str, str], ...]:
    asked = KINDS[part.kind].asked
    known = [("Serial", part.serial), *((row.label, part.about.get(row.name, "")) for row in asked)]
    return tuple((label, text or "not written down") for label, text in known)
