"""What the pages of the parts show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import Session, col, select

from server.cryostats import parts
from server.cryostats.models import Cryostat, ElementRow
from server.cryostats.part_models import Part, PartEntry
from server.cryostats.part_rules import KINDS, ON_LOAN, STATES, TOLD, Asked
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
    states: Sequence[tuple[str, str]] = field(default_factory=lambda: list(TOLD.items()))

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
    rows = parts.listed(session, kind, state)
    inside = _inside(session)
    by_id = {row.id: row for row in parts.listed(session)}
    due = tuple(Due(out, by_id[out.loan.part_id], out.loan.due_on < today) for out in parts.loans(session))
    may = parts.grade_anywhere(session, person) >= REWIRE
    return PartsView(tuple(_line(row, inside) for row in rows), due, kind, state, may)


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
    rows = session.exec(select(Cryostat).order_by(Cryostat.name)).all()
    return PartView(
        line=_line(part, _inside(session)),
        facts=_facts(part),
        stays=parts.stays(session, tag),
        entries=parts.entries(session, part),
        loans=parts.loans(session, part),
        grade=parts.grade_anywhere(session, person),
        cryostats=[("", "no, to another laboratory"), *((row.slug, row.name) for row in rows)],
        today=today,
        faults=faults or {},
        typed=typed or {},
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


def _line(part: Part, inside: Mapping[str, tuple[str, str]]) -> PartLine:
    return PartLine(
        part, KINDS[part.kind].label, STATES[part.state], STATE_MARKS[part.state], inside.get(part.tag)
    )


def _inside(session: Session) -> dict[str, tuple[str, str]]:
    """Tag → the cryostat the part is inside now, in one query."""
    query = (
        select(ElementRow.part, Cryostat.name, Cryostat.slug)
        .join(Cryostat, col(Cryostat.id) == col(ElementRow.cryostat_id))
        .where(ElementRow.part != "", col(ElementRow.to_revision).is_(None))
    )
    return {tag: (name, f"/cryostats/{slug}") for tag, name, slug in session.exec(query).all()}


def _facts(part: Part) -> tuple[tuple[str, str], ...]:
    asked = KINDS[part.kind].asked
    known = [("Serial", part.serial), *((row.label, part.about.get(row.name, "")) for row in asked)]
    return tuple((label, text or "not written down") for label, text in known)
