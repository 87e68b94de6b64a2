"""Samples planned on a draft: agreed to with it, and come in when it is built.

A sample is planned while the draft is drawn. Once it is asked for, what is planned stands still, so that the
yes of the parties and the steward's approval cover the samples as well.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import drafts, samples
from server.cryostats.draft_models import Draft, DraftStep
from server.cryostats.draft_rules import APPROVED, DRAWING
from server.cryostats.drafts import Sheet
from server.cryostats.samples import Described
from server.cryostats.samples_models import PlannedSample, PlannedStep, SampleStep
from server.errors import Conflict, NotFound
from server.history import service as history
from server.people.models import Person


@dataclass(frozen=True)
class Planned:
    """A planned sample, whether its owner has an account, and the sample it became."""

    sample: PlannedSample
    owner_active: bool
    became: int | None


def of_draft(session: Session, draft: Draft) -> Sequence[Planned]:
    """What is planned on a draft, without what was left out; the oldest first."""
    query = (
        select(PlannedSample, Person.active, PlannedStep)
        .join(Person, col(Person.id) == col(PlannedSample.owner_id))
        .join(PlannedStep, col(PlannedStep.planned_id) == col(PlannedSample.id), isouter=True)
        .where(PlannedSample.draft_id == draft.id)
        .order_by(col(PlannedSample.id))
    )
    rows: Sequence[tuple[PlannedSample, bool, PlannedStep | None]] = session.exec(query).all()
    return [
        Planned(row, active, step.sample_id if step else None)
        for row, active, step in rows
        if step is None or step.sample_id is not None
    ]


def plan(
    session: Session,
    person: Person,
    number: int,
    said: Described,
    at: datetime,
    faults: Mapping[str, str] | None = None,
) -> PlannedSample:
    """A sample that shall come in with the draft, on a joint that will then be there."""
    sheet = _still_drawn(session, person, number)
    ground = drafts.intended(session, sheet.cryostat, sheet.version)
    owner = samples.checked(session, said, ground, dict(faults or {}))
    assert sheet.draft.id is not None
    row = PlannedSample(
        draft_id=sheet.draft.id,
        at=at,
        by_name=person.name,
        by_id=person.id,
        **samples.told(said, owner),
    )
    session.add(row)
    session.flush()
    _note(session, person, sheet, f"sample planned: {row.what}, of {owner.name}", at)
    return row


def leave_out(session: Session, person: Person, number: int, planned_id: int, at: datetime) -> PlannedSample:
    """It shall not come in after all."""
    sheet = _still_drawn(session, person, number)
    kept = {row.sample.id: row.sample for row in of_draft(session, sheet.draft)}
    if planned_id not in kept:
        raise NotFound(f"{sheet.draft.name} has no planned sample {planned_id}.")
    session.add(PlannedStep(planned_id=planned_id, at=at, by_name=person.name, by_id=person.id))
    session.flush()
    _note(session, person, sheet, f"sample left out: {kept[planned_id].what}", at)
    return kept[planned_id]


def _still_drawn(session: Session, person: Person, number: int) -> Sheet:
    sheet = drafts.find(session, number, lock=True)
    drafts.need_hand(session, person, sheet)
    if sheet.standing.state != DRAWING:
        raise Conflict(
            f"{sheet.draft.name} is {sheet.standing.words}; its samples stand still. "
            "Store a new version first."
        )
    return sheet


def _note(session: Session, person: Person, sheet: Sheet, words: str, at: datetime) -> None:
    line = f"Draft {sheet.draft.id}, {sheet.draft.name}: {words}"
    history.note(session, person, f"cryostat/{sheet.cryostat.slug}", line, at, {"draft": sheet.draft.id})


def come_in(session: Session, person: Person, sheet: Sheet, revision: int, at: datetime) -> None:
    """The draft was built as `revision`: its samples are inside, approved by whoever approved the draft."""
    approval = next((step for step in reversed(sheet.steps) if step.what == APPROVED), None)
    for row in of_draft(session, sheet.draft):
        owner = session.get(Person, row.sample.owner_id)
        assert owner is not None
        said = _described(row.sample, revision)
        sample = samples.enter(session, person, sheet.cryostat, said, owner, at)
        assert sample.id is not None
        assert row.sample.id is not None
        session.add(
            PlannedStep(
                planned_id=row.sample.id, sample_id=sample.id, at=at, by_name=person.name, by_id=person.id
            )
        )
        if approval is not None and approval.version == sheet.draft.version:
            session.add(_approved(sample.id, sheet, approval, revision))
    session.flush()


def _described(row: PlannedSample, revision: int) -> Described:
    kept = row.model_dump(exclude={"id", "draft_id", "owner_name", "at", "by_name", "by_id"})
    return Described(revision=revision, **kept)


def _approved(sample_id: int, sheet: Sheet, approval: DraftStep, revision: int) -> SampleStep:
    return SampleStep(
        sample_id=sample_id,
        what=samples.APPROVED,
        note=f"with draft {sheet.draft.id}" + (f": {approval.note}" if approval.note else ""),
        revision=revision,
        at=approval.at,
        by_name=approval.by_name,
        by_id=approval.by_id,
    )
