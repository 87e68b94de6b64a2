"""What the pages of checklists show: all of a cryostat, one gone through, and the sheet of paper."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from server.cautions import service as cautions
from server.cautions.models import Card
from server.checklists import lists, records, service
from server.checklists.generated import counted_in
from server.checklists.lines import Line
from server.checklists.models import Answer, Checklist, ListVersion
from server.checklists.own_words import LISTS
from server.checklists.rules import OUTCOMES, Standing, standing_of
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.people.models import Person
from server.units import show

TAGS = {"done": "good", "failed": "bad", "skipped": "warn"}


@dataclass(frozen=True)
class LineView:
    """One line on its sheet."""

    number: int
    line: Line
    cards: Sequence[Card]
    answer: Answer | None
    again: bool
    """True right after a line of the same wording, whose cautions stand there in full."""
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)

    @property
    def outcome(self) -> str:
        """What was answered, in words."""
        return OUTCOMES[self.answer.outcome] if self.answer else ""

    @property
    def tag(self) -> str:
        """The kind of tag its answer has."""
        return TAGS[self.answer.outcome] if self.answer else "plain"

    @property
    def recorded(self) -> str:
        """What was written down."""
        return records.words(self.line, self.answer.record) if self.answer else ""

    @property
    def limits(self) -> str:
        """The range that is in order, or the torque that is stated, as its hint."""
        line, found = self.line, []
        if line.low is not None:
            found.append(f"at least {show(line.low, line.unit)}")
        if line.high is not None:
            found.append(f"at most {show(line.high, line.unit)}")
        if line.stated_N_m:
            found.append(f"stated: {records.torque_words(line.stated_N_m)}")
        return ", ".join(found)

    def kept(self, name: str) -> str:
        """What stands in a field: what was typed, else what was answered before."""
        if name in self.typed:
            return self.typed[name]
        record = self.answer.record if self.answer else {}
        if name == "value" and "value" in record:
            return show(record["value"], self.line.unit if self.line.record == "number" else "N·m")
        if name == "of" and "of" not in record and self.line.of is not None:
            return str(self.line.of)
        if name == "right_way_up":
            return "yes" if record.get(name) else ""
        return str(record.get(name, ""))


@dataclass(frozen=True)
class SheetView:
    """One checklist gone through. On paper, `checklist` may be None: nothing was begun."""

    cryostat: Cryostat
    checklist: Checklist | None
    version: ListVersion
    title: str
    when: str
    lines: Sequence[LineView]
    standing: Standing | None
    may_answer: bool
    grade: int
    faults: Mapping[str, str] = field(default_factory=dict)

    @property
    def address(self) -> str:
        """Its page."""
        return service.address(self.checklist) if self.checklist else ""


def sheet(
    session: Session,
    person: Person,
    checklist: Checklist,
    line_key: str = "",
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> SheetView:
    """One checklist; with what was typed at one line and is to be mended."""
    assert checklist.id is not None
    cryostat = session.get_one(Cryostat, checklist.cryostat_id)
    lines = service.lines_of(checklist)
    answers = service.answers(session, [checklist.id])[checklist.id]
    own = lists.about(checklist.list_key)
    shown = _lines(session, lines, answers, line_key, typed or {}, faults or {})
    return SheetView(
        cryostat=cryostat,
        checklist=checklist,
        version=session.get_one(ListVersion, checklist.version_id),
        title=service.title(checklist),
        when=own.when,
        lines=shown,
        standing=standing_of(checklist.list_key, lines, answers),
        may_answer=guards.grade_of(session, person, cryostat) >= own.grade,
        grade=own.grade,
        faults=faults or {},
    )


def _lines(
    session: Session,
    lines: Sequence[Line],
    answers: Mapping[str, Answer],
    line_key: str,
    typed: Mapping[str, str],
    faults: Mapping[str, str],
) -> list[LineView]:
    codes = dict.fromkeys(code for line in lines for code in line.cautions)
    cards = {card.code: card for card in cautions.for_codes(session, codes)}
    return [
        LineView(
            number,
            line,
            [cards[code] for code in line.cautions],
            answers.get(line.key),
            number > 1 and lines[number - 2].key.partition("/")[0] == line.key.partition("/")[0],
            typed if line.key == line_key else {},
            faults if line.key == line_key else {},
        )
        for number, line in enumerate(lines, 1)
    ]


def paper(session: Session, cryostat: Cryostat, list_key: str) -> SheetView:
    """The sheet of a list nobody has begun, with what is inside now."""
    own, version = lists.about(list_key), lists.newest(session, cryostat, list_key)
    lines = counted_in(session, cryostat, lists.lines_of(version))
    shown = _lines(session, lines, {}, "", {}, {})
    return SheetView(cryostat, None, version, own.title, own.when, shown, None, False, own.grade)


@dataclass(frozen=True)
class Row:
    """One checklist in the list of a cryostat's."""

    checklist: Checklist
    title: str
    standing: Standing

    @property
    def tag(self) -> tuple[str, str]:
        """Words and kind of its tag."""
        if not self.standing.complete:
            return "lines open", "warn"
        return ("not all right", "bad") if self.standing.failing else ("all answered", "good")


@dataclass(frozen=True)
class Choice:
    """One of the five lists, and whether this person may go through it."""

    key: str
    title: str
    when: str
    number: int
    lines: int
    may_start: bool
    grade: int


@dataclass(frozen=True)
class ChecklistsView:
    """The checklists of one cryostat."""

    cryostat: Cryostat
    choices: Sequence[Choice]
    rows: Sequence[Row]
    faults: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)


def index(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> ChecklistsView:
    """The five lists, and what was gone through last."""
    grade = guards.grade_of(session, person, cryostat)
    choices = []
    for key, own in LISTS.items():
        version = lists.newest(session, cryostat, key)
        may = grade >= own.grade
        choices.append(Choice(key, own.title, own.when, version.number, len(version.lines), may, own.grade))
    return ChecklistsView(cryostat, choices, _rows(session, cryostat), faults or {}, typed or {})


def _rows(session: Session, cryostat: Cryostat) -> list[Row]:
    found = service.of_cryostat(session, cryostat)
    answers = service.answers(session, [row.id or 0 for row in found])
    return [
        Row(
            row,
            service.title(row),
            standing_of(row.list_key, service.lines_of(row), answers[row.id or 0]),
        )
        for row in found
    ]
