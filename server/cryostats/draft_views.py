"""What the pages of drafts show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import Session

from server.cryostats import (
    beside_views,
    budget,
    change_views,
    contents,
    draft_rules,
    drafts,
    guards,
    views,
)
from server.cryostats.change_form import InHand
from server.cryostats.change_views import ChangeView
from server.cryostats.differences import (
    DifferenceView,
    StageShift,
    difference_view,
    label,
    shifts,
)
from server.cryostats.draft_models import DraftVersion
from server.cryostats.draft_rules import (
    AGREED,
    APPROVED,
    ASKED,
    CHOICES,
    DRAWING,
    FREEZE,
    FROZEN,
    SENT_BACK,
    Clash,
)
from server.cryostats.drafts import Sheet
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, OPERATE, SHUTTERS, Put, difference
from server.db import now
from server.laboratory import service as laboratory
from server.people.models import Person
from server.people.service import everyone


@dataclass(frozen=True)
class DraftsView:
    """The drafts of a cryostat."""

    cryostat: Cryostat
    rows: Sequence[Sheet]
    may_draw: bool
    may_draw_house: bool


def index(session: Session, person: Person, cryostat: Cryostat) -> DraftsView:
    """All of them, the house draft first."""
    rows = drafts.of_cryostat(session, cryostat)
    house = any(row.draft.house for row in rows)
    may_draw = guards.grade_of(session, person, cryostat) >= OPERATE
    return DraftsView(cryostat, rows, may_draw, person.steward and not house)


@dataclass(frozen=True)
class ClashView:
    """One element that was changed in the cryostat since the draft's base."""

    key: str
    title: str
    chosen: str
    since: DifferenceView
    """What was done to it in the cryostat."""
    wanted: DifferenceView
    """What the draft would do to it as it is now."""


@dataclass(frozen=True)
class DraftView:
    """The page of one version of a draft."""

    sheet: Sheet
    version: DraftVersion
    versions: Sequence[DraftVersion]
    to_base: DifferenceView
    to_now: DifferenceView
    effects: Sequence[StageShift]
    budget: views.BudgetView
    warnings: Sequence[str]
    clashes: Sequence[ClashView]
    beside: beside_views.BesideView
    may_alter: bool
    may: Mapping[str, bool]
    may_build: bool
    choices: Sequence[tuple[str, str]] = tuple(CHOICES.items())
    faults: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    late: str = ""
    """That agreement to it comes late, in a sentence."""
    freeze_on: date | None = None
    """The day it would be frozen from, were it approved now."""
    trouble: str = ""
    """Why it was not built, when it was not a fault of a field."""

    @property
    def newest(self) -> bool:
        """True when this is the version that counts."""
        return self.version.number == self.sheet.draft.version


@dataclass(frozen=True)
class Trouble:
    """What stood in the way of the last wish, for the page to show beside what was typed."""

    faults: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    words: str = ""


def show(
    session: Session, person: Person, sheet: Sheet, number: int, trouble: Trouble | None = None
) -> DraftView:
    """One version: what it would change, what it would do, where it stands, who may do what with it."""
    cryostat, trouble = sheet.cryostat, trouble or Trouble()
    version = drafts.version(session, sheet.draft, number)
    ground = contents.elements(session, cryostat, version.base_revision)
    present = contents.elements(session, cryostat, cryostat.revision)
    wanted = drafts.intended(session, cryostat, version)
    stored, now = drafts.budget_of(session, version), budget.of_revision(session, cryostat, cryostat.revision)
    to_now = difference(present, wanted)
    moved_K = budget.shifts_K(session, cryostat, present, wanted)
    grade = guards.grade_of(session, person, cryostat)
    touched = {put.key for put in drafts.change_of(version).put}
    return DraftView(
        sheet=sheet,
        version=version,
        versions=drafts.versions(session, sheet.draft),
        to_base=difference_view(difference(ground, wanted)),
        to_now=difference_view(to_now),
        effects=shifts(cryostat, now.budget, stored.budget, moved_K),
        budget=views.budget_view(session, cryostat, wanted, stored),
        warnings=tuple(row.text for row in stored.budget.warnings if row.key in touched),
        clashes=tuple(_clash(row, trouble.typed) for row in drafts.clashes(session, sheet)),
        beside=beside_views.beside(session, cryostat, wanted),
        may_alter=_may_alter(person, sheet, grade),
        may=_may(person, sheet, grade),
        may_build=sheet.standing.buildable and grade >= OPEN,
        faults=trouble.faults,
        typed=trouble.typed,
        late=_late(session, sheet),
        freeze_on=_freeze_on(session, sheet),
        trouble=trouble.words,
    )


def _late(session: Session, sheet: Sheet) -> str:
    """That little time is left before it goes in, while that still matters."""
    if sheet.standing.over or sheet.draft.house:
        return ""
    today = laboratory.day_of(session, now())
    return draft_rules.late(sheet.standing.build_on, today, laboratory.week(session))


def _freeze_on(session: Session, sheet: Sheet) -> date:
    today = laboratory.day_of(session, now())
    return draft_rules.freeze_default(sheet.standing.build_on, today, laboratory.week(session))


def _clash(row: Clash, typed: Mapping[str, str]) -> ClashView:
    return ClashView(
        key=row.key,
        title=row.title,
        chosen=typed.get(f"choice.{row.key}", ""),
        since=difference_view(difference(_one(row.base), _one(row.now))),
        wanted=difference_view(difference(_one(row.now), _one(row.draft))),
    )


def _one(put: Put | None) -> dict[str, Put]:
    return {put.key: put} if put else {}


def _may_alter(person: Person, sheet: Sheet, grade: int) -> bool:
    if sheet.standing.over or (sheet.draft.house and not person.steward):
        return False
    own = person.id == sheet.draft.by_id or person.id in drafts.party_keys(sheet)
    return person.steward or (own and grade >= OPERATE)


def _may(person: Person, sheet: Sheet, grade: int) -> Mapping[str, bool]:
    """Step → whether this person may make it now; the service decides again."""
    state, own = sheet.standing.state, _may_alter(person, sheet, grade)
    party = person.id in drafts.party_keys(sheet)
    asked = state in (ASKED, APPROVED, AGREED, FROZEN)
    return {
        ASKED: own and state == DRAWING,
        "yes": party and state in (ASKED, APPROVED) and person.name in sheet.standing.missing,
        APPROVED: person.steward and state == ASKED,
        FREEZE: own and state in (APPROVED, AGREED),
        SENT_BACK: asked and (person.steward or party),
        "withdrawn": own and not sheet.draft.house,
    }


@dataclass(frozen=True)
class Held:
    """One element of the base, for the list that opens or takes out."""

    key: str
    title: str
    kind: str
    loose: bool
    """False for lids and windows, which are altered and never taken out."""


@dataclass(frozen=True)
class DrawView:
    """What stands around the form of a change when it draws a draft."""

    sheet: Sheet | None
    address: str
    """Where the form goes."""
    back: str
    name: str
    house: bool
    parties: Sequence[str]
    """Keys of those who share it, as typed."""
    people: Sequence[tuple[str, str]]
    after: int
    ground: Sequence[Held]
    beside: beside_views.BesideView
    late: str
    """That an alteration comes late, in a sentence."""
    stale: DraftVersion | None = None


@dataclass(frozen=True)
class Drawing:
    """What the form of a draft holds beside the change: who shares it, and the version it is drawn on."""

    name: str
    parties: tuple[str, ...]
    house: bool
    after: int


def draw(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    in_hand: InHand,
    drawing: Drawing,
    sheet: Sheet | None,
    stale: DraftVersion | None = None,
) -> tuple[ChangeView, DrawView]:
    """The form of a change, drawn on the base revision, and what stands around it."""
    base = min(in_hand.base_revision, cryostat.revision)
    view = change_views.change(session, person, cryostat, in_hand, on=base)
    ground = contents.elements(session, cryostat, base)
    gone = {*in_hand.remove, *(put.key for put in in_hand.put)}
    drawn = {key: put for key, put in ground.items() if key not in in_hand.remove}
    drawn |= {put.key: put for put in in_hand.put}
    home = f"/cryostats/{cryostat.slug}/drafts"
    here = f"/drafts/{sheet.draft.id}" if sheet else home
    around = DrawView(
        sheet=sheet,
        address=here,
        back=here,
        name=drawing.name,
        house=drawing.house,
        parties=drawing.parties,
        people=[(str(row.id), row.name) for row in everyone(session) if row.active],
        after=drawing.after,
        ground=[
            Held(key, put.title, label(put), put.kind not in SHUTTERS)
            for key, put in ground.items()
            if key not in gone
        ],
        beside=beside_views.beside(session, cryostat, drawn),
        late=_late(session, sheet) if sheet else "",
        stale=stale,
    )
    return view, around
