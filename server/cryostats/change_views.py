"""What the change page shows: what is in hand, the editor, the cautions beside it, and the preview."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.cautions import service as cautions
from server.cryostats import (
    budget,
    change_form,
    contents,
    cooldown_estimate,
    cooldown_rules,
    forms,
    guards,
    remarks,
    rules,
    service,
    views,
)
from server.cryostats.change_form import InHand
from server.cryostats.differences import DifferenceView, StageShift, difference_view, label, shifts
from server.cryostats.merging import Merged
from server.cryostats.models import Cryostat
from server.cryostats.rules import STEWARD, Put
from server.errors import Refused
from server.materials import service as materials
from server.people.models import Person
from server.physics import thermal


@dataclass(frozen=True)
class Pending:
    """One line of what the change holds so far."""

    mark: str
    key: str
    title: str
    kind: str


@dataclass(frozen=True)
class EditorView:
    """The form of one element."""

    kind: str
    kind_label: str
    describes: str
    key: str
    was_key: str
    label: str
    note: str
    house: bool
    part: str
    may_house: bool
    house_kind: bool
    states: tuple[forms.FieldView, ...]
    fields: tuple[forms.FieldView, ...]
    folded: tuple[forms.FieldView, ...]
    folded_open: bool
    crossings: tuple[forms.CrossingView, ...]
    cautions: Sequence[Any]


@dataclass(frozen=True)
class Since:
    """What somebody else logged meanwhile."""

    number: int
    by: str
    at: datetime
    reason: str
    diff: DifferenceView


@dataclass(frozen=True)
class Meanwhile:
    """What others logged while a change was drawn, and its elements put on top of theirs."""

    steps: Sequence[service.Step] = ()
    merged: Sequence[Merged] = ()

    @property
    def clashes(self) -> tuple[rules.Altered, ...]:
        """Fields that two people touched, by element."""
        return tuple(row.altered for row in self.merged if row.altered is not None)


@dataclass(frozen=True)
class PreviewView:
    """What the change would do."""

    effects: tuple[StageShift, ...]
    diff: DifferenceView
    budget: views.BudgetView
    warnings: tuple[str, ...]
    delays: tuple[cooldown_rules.Delay, ...]
    """What extra masses that come or go change in the time to the base."""


@dataclass(frozen=True)
class ChangeView:
    """The change page."""

    cryostat: Cryostat
    in_hand: InHand
    pending: tuple[Pending, ...]
    editor: EditorView | None
    kinds: Sequence[tuple[str, Sequence[tuple[str, str]]]]
    preview: PreviewView | None
    since: tuple[Since, ...]
    faults: Mapping[str, str]
    clashes: DifferenceView
    """Fields that two people touched: as it is inside now, and as it is typed here."""

    @property
    def title(self) -> str | None:
        """Heading of the error summary, when it is not the usual one."""
        return "Not logged yet: the cryostat changed meanwhile" if self.since else None


def change(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    in_hand: InHand,
    meanwhile: Meanwhile | None = None,
    on: int | None = None,
) -> ChangeView:
    """The page, with its preview where everything in hand can be read; `on` is a draft's base revision."""
    meanwhile = meanwhile or Meanwhile()
    present = contents.elements(session, cryostat, cryostat.revision if on is None else on)
    steward = guards.grade_of(session, person, cryostat) >= STEWARD
    full, edited_put = change_form.with_editor_put(in_hand, cryostat, present)
    if full.faults and in_hand.typing:
        full, edited_put = in_hand, None
    faults = {change_form.field_of(name, full, edited_put): text for name, text in full.faults.items()}
    preview = None if faults else _preview(session, cryostat, full, faults, on)
    return ChangeView(
        cryostat=cryostat,
        in_hand=in_hand,
        pending=_pending(in_hand, present),
        editor=_editor(session, in_hand, cryostat, steward, faults),
        kinds=forms.kinds(steward),
        preview=preview,
        since=tuple(_since(step) for step in meanwhile.steps),
        faults=faults,
        clashes=difference_view(rules.Difference(altered=meanwhile.clashes)),
    )


def _preview(
    session: Session, cryostat: Cryostat, full: InHand, faults: dict[str, str], on: int | None
) -> PreviewView | None:
    if not full.put and not full.remove:
        return None
    try:
        found = service.preview(session, cryostat, change_form.change_of(full), on)
    except Refused as refused:
        faults |= {
            change_form.field_of(name, full, full.put[-1] if full.put else None): text
            for name, text in refused.fields.items()
        }
        return None
    if found.difference.empty:
        return None
    moved_K = budget.shifts_K(session, cryostat, found.before, found.after)
    delays, uncounted = cooldown_estimate.delays(session, cryostat, found.before, found.after)
    return PreviewView(
        effects=shifts(cryostat, found.now, found.then.budget, moved_K),
        diff=difference_view(found.difference),
        budget=views.budget_view(session, cryostat, found.after, found.then),
        warnings=(*_remarks(found, full), *(f"Time to get cold not told: {text}" for text in uncounted)),
        delays=delays,
    )


def _remarks(found: service.Preview, full: InHand) -> tuple[str, ...]:
    """What to hear before logging: remarks on what is put, the balance's warnings of it, and every gap."""
    touched = {put.key for put in full.put}
    before = {row.before.key: row.before for row in found.difference.altered}
    told = [text for put in full.put for text in remarks.remarks(before.get(put.key), put)]
    told += [row.text for row in found.then.budget.warnings if row.key in touched]
    told += [
        f"Not known: {gap.reason}" for gap in found.then.budget.gaps if gap.key is None or gap.key in touched
    ]
    return tuple(dict.fromkeys(told))


def _pending(in_hand: InHand, present: Mapping[str, Put]) -> tuple[Pending, ...]:
    """What is put aside and taken out. A key somebody else took out first can still be left out here."""
    edited = in_hand.edited.key if in_hand.edited else None
    puts = [
        Pending("altered" if put.key in present else "added", put.key, put.title, label(put))
        for put in in_hand.put
        if put.key != edited
    ]
    taken = [
        Pending("taken", key, present[key].title, label(present[key]))
        if key in present
        else Pending("taken", key, key, "is not inside any more")
        for key in in_hand.remove
    ]
    return (*puts, *taken)


def _editor(
    session: Session, in_hand: InHand, cryostat: Cryostat, steward: bool, faults: Mapping[str, str]
) -> EditorView | None:
    edited = in_hand.edited
    if edited is None:
        return None
    shown = forms.fields(edited.kind, edited.typed, cryostat, materials.names(session))
    info = thermal.KINDS[edited.kind]
    return EditorView(
        kind=edited.kind,
        kind_label=info.label,
        describes=info.describes,
        key=edited.key,
        was_key=edited.was_key,
        label=edited.label,
        note=edited.note,
        house=edited.house,
        part=edited.part,
        may_house=steward,
        house_kind=info.entered_by == "house",
        states=shown.states,
        fields=shown.plain,
        folded=shown.folded,
        folded_open=any(field.name in faults or field.value for field in shown.folded),
        crossings=shown.crossings,
        cautions=cautions.for_codes(session, rules.caution_codes(edited.kind, edited.typed)),
    )


def _since(step: service.Step) -> Since:
    row = step.revision
    return Since(row.number, row.by_name, row.recorded_at, row.reason, difference_view(step.difference))
