"""What the pages of faults show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session, col, select

from server.cryostats import contents, instruments, parts
from server.cryostats.models import Cryostat
from server.faults import pictures, service
from server.faults.causes import CAUSES, GROUPS
from server.faults.models import Fault, FaultEntry, FaultPhotograph
from server.faults.rules import LEFT, MENDED, SEVERITIES, STATES, STILL_OPEN
from server.files.models import StoredFile
from server.people.models import Person

PAGE = 50
TAGS = {"open": "bad", "looked-at": "warn", "cause-found": "warn", "mended": "good", "left": "plain"}
SHORT = {key: words.partition(":")[0] for key, words in SEVERITIES.items()}


@dataclass(frozen=True)
class Line:
    """One fault in a list."""

    fault: Fault
    cryostat: Cryostat | None

    @property
    def state(self) -> str:
        """Where it stands, in words."""
        return STATES[self.fault.state]

    @property
    def tag(self) -> str:
        """The kind of tag its state has."""
        return TAGS[self.fault.state]

    @property
    def severity(self) -> str:
        """How much it disturbs, in a word or two."""
        return SHORT.get(self.fault.severity, self.fault.severity)

    @property
    def cause(self) -> str:
        """The cause that was found, or nothing."""
        return CAUSES.get(self.fault.cause, self.fault.cause)


@dataclass(frozen=True)
class FaultsView:
    """A list of faults: of everything, or of one cryostat."""

    lines: Sequence[Line]
    cryostat: Cryostat | None
    shown: str
    """`open`, or `all`."""
    more: bool


def page(session: Session, cryostat: Cryostat | None, shown: str, before: int | None = None) -> FaultsView:
    """The newest faults, still open ones alone unless all are asked for."""
    cryostat_id = cryostat.id if cryostat else None
    rows = service.listed(session, cryostat_id, () if shown == "all" else STILL_OPEN, before, PAGE + 1)
    known = {row.id: row for row in instruments.all_of(session)}
    lines = tuple(Line(row, known.get(row.cryostat_id)) for row in rows[:PAGE])
    return FaultsView(lines, cryostat, shown, len(rows) > PAGE)


@dataclass(frozen=True)
class PartView:
    """The open faults of one cryostat, as a part of another page."""

    cryostat: Cryostat
    lines: Sequence[Line]


def part(session: Session, cryostat: Cryostat) -> PartView:
    """What is still open on one cryostat."""
    assert cryostat.id is not None
    rows = service.open_faults(session, cryostat.id)
    return PartView(cryostat, tuple(Line(row, cryostat) for row in rows))


@dataclass(frozen=True)
class ReportView:
    """The form of a report."""

    cryostat: Cryostat | None
    cryostats: Sequence[tuple[str, str]]
    elements: Sequence[tuple[str, str]]
    parts: Sequence[tuple[str, str]]
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    severities: Sequence[tuple[str, str]] = tuple(SEVERITIES.items())


def form(
    session: Session,
    cryostat: Cryostat | None,
    typed: Mapping[str, str],
    faults: Mapping[str, str] | None = None,
) -> ReportView:
    """The form; the elements are those inside now."""
    inside = contents.elements(session, cryostat, cryostat.revision) if cryostat else {}
    named = sorted(((put.key, put.title) for put in inside.values()), key=lambda row: row[1].lower())
    return ReportView(
        cryostat=cryostat,
        cryostats=(("", "None of them"), *((row.slug, row.name) for row in instruments.all_of(session))),
        elements=(("", "None in particular"), *named),
        parts=(("", "None"), *((row.tag, f"{row.tag}: {row.name}") for row in parts.listed(session))),
        typed=typed,
        faults=faults or {},
    )


@dataclass(frozen=True)
class Told:
    """One step of a fault on its page."""

    entry: FaultEntry
    state: str
    cause: str
    moved: bool
    owner_changed: bool


@dataclass(frozen=True)
class FaultView:
    """The page of one fault."""

    line: Line
    told: Sequence[Told]
    photographs: Sequence[tuple[FaultPhotograph, StoredFile]]
    may_move: bool
    people: Sequence[tuple[str, str]]
    states: Sequence[tuple[str, str]]
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    causes: Sequence[tuple[str, Sequence[tuple[str, str]]]] = GROUPS

    @property
    def over(self) -> bool:
        """True when nobody has anything left to do."""
        return self.line.fault.state in (MENDED, LEFT)


def one(
    session: Session,
    person: Person,
    number: int,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> FaultView:
    """One fault; NotFound."""
    found = service.find(session, number)
    cryostat = session.get(Cryostat, found.cryostat_id) if found.cryostat_id is not None else None
    people = session.exec(select(Person).where(col(Person.active)).order_by(Person.name)).all()
    keep = [("", "leave it where it stands")]
    return FaultView(
        line=Line(found, cryostat),
        told=_told(service.entries(session, found)),
        photographs=pictures.of_fault(session, found),
        may_move=service.may_move(session, person, found),
        people=[("-", "as it is"), ("", "nobody"), *((row.login, row.name) for row in people)],
        states=keep + [(key, words) for key, words in STATES.items() if key != found.state],
        typed=typed or {},
        faults=faults or {},
    )


def _told(rows: Sequence[FaultEntry]) -> list[Told]:
    found, state, owner = [], "", ""
    for row in rows:
        cause = CAUSES.get(row.cause, row.cause)
        moved, changed = row.state != state, row.owner_name != owner
        found.append(Told(row, STATES[row.state], cause, moved, changed))
        state, owner = row.state, row.owner_name
    return found
