"""What the pages of openings show: the list, one slip, its sheet of paper, a part for the cryostat's page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.cautions import service as cautions
from server.cautions.models import Card
from server.cryostats import contents, draft_budgets, drafts, guards, instruments
from server.cryostats import rules as cryostat_rules
from server.cryostats.differences import DifferenceView, difference_view
from server.cryostats.draft_models import Draft
from server.cryostats.models import Cryostat
from server.cryostats.part_models import Part
from server.cryostats.rules import OPEN, OPERATE
from server.laboratory import orders
from server.laboratory.order_models import StandingOrder
from server.openings import bill, effects, entry_words, finding, kinds, pictures, rules, service
from server.openings.bill import BillLine
from server.openings.finding import Sheet
from server.openings.models import Opening, OpeningEntry
from server.people.models import Person
from server.stock.service import Short

PAGE = 50
CARDS = {
    kinds.VENT: ("S01", "S02", "S03", "S05", "S14"),
    kinds.LID_OFF: ("S07", "S04", "S05"),
    kinds.RING: ("S11", "S04"),
    kinds.SCREWS: ("S10",),
    kinds.PARK: ("S01", "S02"),
    kinds.CLOSE: ("S04", "S07"),
}
"""Step → the cautions that stand where the hand moves."""
TAGS = {
    kinds.BEGUN: "plain",
    kinds.VENTED: "warn",
    kinds.IS_OPEN: "warn",
    kinds.PARKED: "warn",
    kinds.CLOSED: "good",
    kinds.OVER: "good",
    kinds.OFF: "plain",
}


@dataclass(frozen=True)
class Line:
    """One opening in a list."""

    opening: Opening
    cryostat: Cryostat

    @property
    def address(self) -> str:
        """Its page."""
        return finding.address(self.cryostat, self.opening)

    @property
    def phase(self) -> str:
        """Where it stands, in words."""
        return kinds.PHASES[rules.phase(self.opening)]

    @property
    def tag(self) -> str:
        """The kind of tag its phase has."""
        return TAGS[rules.phase(self.opening)]


@dataclass(frozen=True)
class IndexView:
    """The openings of a cryostat, and the form of a new one."""

    cryostat: Cryostat
    lines: Sequence[Line]
    more: bool
    under_way: Line | None
    usual: Sequence[tuple[str, rules.Usual]]
    drafts: Sequence[tuple[str, str]]
    may_open: bool
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


def index(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    before: int | None = None,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> IndexView:
    """The newest openings of one cryostat."""
    assert cryostat.id is not None
    rows = service.openings_of(session, cryostat, PAGE + 1, before)
    present = service.under_way(session, cryostat.id)
    choices = [(row.draft.id, row) for row in drafts.of_cryostat(session, cryostat) if row.standing.buildable]
    return IndexView(
        cryostat=cryostat,
        lines=[Line(row, cryostat) for row in rows[:PAGE]],
        more=len(rows) > PAGE,
        under_way=Line(present, cryostat) if present else None,
        usual=list(service.durations(session, cryostat.id).items()),
        drafts=[("", "from nothing"), *((str(key), row.draft.name) for key, row in choices)],
        may_open=guards.grade_of(session, person, cryostat) >= OPEN,
        typed=typed or {},
        faults=faults or {},
    )


@dataclass(frozen=True)
class PartView:
    """What of openings stands on the cryostat's page."""

    cryostat: Cryostat
    line: Line | None
    last: Line | None


def part(session: Session, cryostat: Cryostat) -> PartView:
    """The slip that is open, and the newest one."""
    assert cryostat.id is not None
    present = service.under_way(session, cryostat.id)
    newest = service.openings_of(session, cryostat, 1)
    return PartView(
        cryostat,
        Line(present, cryostat) if present else None,
        Line(newest[0], cryostat) if newest else None,
    )


@dataclass(frozen=True)
class Told:
    """One entry in words."""

    entry: OpeningEntry
    label: str
    words: str
    counts: bool
    remark: str
    may_take_back: bool


@dataclass(frozen=True)
class SlipView:
    """The page of one slip. `open_so_far_s` counts up to now while it is open."""

    line: Line
    sheet: Sheet
    told: Sequence[Told]
    grade: int
    cards: Mapping[str, Sequence[Card]]
    lists: Mapping[str, int | None]
    seals: Sequence[Part]
    bill: Sequence[BillLine]
    short: Sequence[Short]
    pictures: Sequence[pictures.Shown]
    draft: Draft | None
    difference: DifferenceView
    orders: Sequence[StandingOrder]
    open_so_far_s: float
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    step: str = ""
    """The step whose form was sent and is to be mended."""

    @property
    def cryostat(self) -> Cryostat:
        """Whose slip it is."""
        return self.line.cryostat

    @property
    def opening(self) -> Opening:
        """The slip."""
        return self.line.opening

    @property
    def may_note(self) -> bool:
        """Whether this person may write notes and put in photographs."""
        return self.grade >= OPERATE

    def may(self, kind: str) -> bool:
        """Whether this person may make an entry of this kind now."""
        about = kinds.KINDS[kind]
        return self.grade >= about.grade and self.sheet.phase in about.phases

    def of(self, *names: str) -> list[Told]:
        """What was written of these kinds."""
        return [row for row in self.told if row.entry.kind in names]

    def kept(self, kind: str, name: str, otherwise: str = "") -> str:
        """What was typed at a field of the step that is to be mended."""
        return self.typed.get(name, otherwise) if self.step == kind else otherwise

    def wrong(self, kind: str, name: str) -> str:
        """The sentence at a field of that step."""
        return self.faults.get(name, "") if self.step == kind else ""


def slip(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    number: int,
    now: datetime,
    step: str = "",
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> SlipView:
    """One slip; a fixed number of queries, however long it is."""
    sheet = service.find(session, cryostat, number)
    rows, opening = sheet.counting, sheet.opening
    over = opening.ended_at is not None
    draft, difference = _compared(session, sheet)
    lines = bill.lines(session, rows)
    assert opening.id is not None
    return SlipView(
        line=Line(opening, cryostat),
        sheet=sheet,
        told=_told(sheet, person),
        grade=guards.grade_of(session, person, cryostat),
        cards=_cards(session),
        lists={key: effects.listed(sheet, key) for key in service.LISTS},
        seals=finding.parts_here(session, cryostat, "ring", "window"),
        bill=lines,
        short=[] if over or bill.drawn(rows) else bill.short(session, lines, now),
        pictures=pictures.of_opening(session, opening.id),
        draft=draft,
        difference=difference,
        orders=orders.applying(session, instruments.subject(cryostat)),
        open_so_far_s=rules.open_s(opening, rows, now) if opening.open_s is None else opening.open_s,
        typed=typed or {},
        faults=faults or {},
        step=step,
    )


def _cards(session: Session) -> dict[str, Sequence[Card]]:
    """Step → its cards; one query for all."""
    codes = dict.fromkeys(code for those in CARDS.values() for code in those)
    known = {card.code: card for card in cautions.for_codes(session, codes)}
    return {kind: [known[code] for code in those] for kind, those in CARDS.items()}


def _compared(session: Session, sheet: Sheet) -> tuple[Draft | None, DifferenceView]:
    """What is inside now against the approved draft, else against what was inside at the beginning."""
    cryostat, opening = sheet.cryostat, sheet.opening
    present = contents.elements(session, cryostat, cryostat.revision)
    if opening.draft_id is None or opening.draft_version is None:
        wanted, draft = contents.elements(session, cryostat, opening.base_revision), None
    else:
        draft = session.get_one(Draft, opening.draft_id)
        row = drafts.version(session, draft, opening.draft_version)
        wanted = draft_budgets.intended(session, cryostat, row)
    return draft, difference_view(cryostat_rules.difference(wanted, present))


def _told(sheet: Sheet, person: Person) -> list[Told]:
    counting = {row.id for row in sheet.counting}
    found = []
    for row in sheet.entries:
        kind = kinds.KINDS.get(row.kind)
        counts = row.id in counting
        mine = row.by_id == person.id or person.steward
        found.append(
            Told(
                entry=row,
                label=kind.label if kind else "Taken back",
                words=entry_words.of(row),
                counts=counts or row.kind == kinds.TAKEN_BACK,
                remark=entry_words.remark(row),
                may_take_back=counts and mine and kind is not None and not kind.step,
            )
        )
    return found
