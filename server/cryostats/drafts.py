"""Drafts: drawn, altered, found; each version with its budget. The steps are in `draft_steps`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import budget, contents, draft_budgets, draft_rules, guards, rules
from server.cryostats.documents import written
from server.cryostats.draft_models import Draft, DraftStep, DraftVersion
from server.cryostats.draft_rules import Standing
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE, STEWARD, Change, Put
from server.db import now
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.laboratory import service as laboratory
from server.materials import service as materials
from server.people.models import Person

NOT_STORED = "The draft was not stored."
LARGEST_KEY = 2**31 - 1

# What a draft holds and what it would do stand where the cooler's room can reach them, too.
change_of = draft_budgets.change_of
intended = draft_budgets.intended
budget_of = draft_budgets.of_version


@dataclass(frozen=True)
class Drawn:
    """A draft as somebody wants it. `parties` are the keys of those who share it."""

    name: str
    change: Change
    parties: tuple[int, ...] = ()
    house: bool = False


@dataclass(frozen=True)
class Sheet:
    """A draft with its newest version, and where that stands."""

    draft: Draft
    cryostat: Cryostat
    version: DraftVersion
    steps: tuple[DraftStep, ...]
    standing: Standing

    @property
    def change(self) -> Change:
        """The newest version as a change on its base revision."""
        return draft_budgets.change_of(self.version)


def find(session: Session, number: int, *, lock: bool = False, at: datetime | None = None) -> Sheet:
    """One draft as it stands at `at`, or now; NotFound.

    With `lock`, nobody else may change its cryostat until the transaction ends.
    """
    draft = session.get(Draft, number) if 0 < number <= LARGEST_KEY else None
    if draft is None:
        raise NotFound(f"There is no draft {number}.")
    cryostat = session.get(Cryostat, draft.cryostat_id)
    assert cryostat is not None
    if lock:
        guards.find(session, cryostat.slug, lock=True)
        session.refresh(draft)
    return sheet(session, cryostat, draft, at)


def sheet(session: Session, cryostat: Cryostat, draft: Draft, at: datetime | None = None) -> Sheet:
    """The draft with its newest version and steps, as it stands at `at`, or now."""
    newest = version(session, draft, draft.version)
    query = select(DraftStep).where(DraftStep.draft_id == draft.id).order_by(col(DraftStep.id))
    steps = tuple(session.exec(query).all())
    today = laboratory.day_of(session, at or now())
    standing = draft_rules.standing(steps, draft.version, newest.parties, today, house=draft.house)
    return Sheet(draft, cryostat, newest, steps, standing)


def version(session: Session, draft: Draft, number: int) -> DraftVersion:
    """One version of a draft; NotFound."""
    query = select(DraftVersion).where(DraftVersion.draft_id == draft.id, DraftVersion.number == number)
    found = session.exec(query).first() if 0 < number <= LARGEST_KEY else None
    if found is None:
        raise NotFound(f"{draft.name} has no version {number}.")
    return found


def versions(session: Session, draft: Draft) -> Sequence[DraftVersion]:
    """Every version, newest first."""
    query = select(DraftVersion).where(DraftVersion.draft_id == draft.id)
    return session.exec(query.order_by(col(DraftVersion.number).desc())).all()


def of_cryostat(session: Session, cryostat: Cryostat) -> tuple[Sheet, ...]:
    """Its drafts: the house draft first, then newest first."""
    query = select(Draft).where(Draft.cryostat_id == cryostat.id)
    rows = session.exec(query.order_by(col(Draft.house).desc(), col(Draft.id).desc())).all()
    return tuple(sheet(session, cryostat, row) for row in rows)


def make(
    session: Session,
    person: Person,
    slug: str,
    drawn: Drawn,
    at: datetime,
    faults: Mapping[str, str] | None = None,
) -> Sheet:
    """A new draft, version 1. The house draft is the steward's, and there is one for a cryostat."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD if drawn.house else OPERATE)
    parties = _checked(session, cryostat, drawn, faults or {})
    if drawn.house and _house(session, cryostat):
        raise Conflict(f"{cryostat.name} has a house draft already; alter that one.")
    assert cryostat.id is not None
    draft = Draft(
        cryostat_id=cryostat.id,
        name=drawn.name.strip(),
        house=drawn.house,
        made_at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(draft)
    session.flush()
    return _write(session, person, cryostat, draft, drawn, parties, at)


def alter(
    session: Session,
    person: Person,
    number: int,
    drawn: Drawn,
    after: int,
    at: datetime,
    faults: Mapping[str, str] | None = None,
) -> Sheet:
    """The version after `after`; it has to be asked for again. Conflict when somebody stored one first."""
    found = find(session, number, lock=True, at=at)
    need_hand(session, person, found)
    need_newest(found, after)
    if found.standing.over:
        raise Conflict(f"{found.draft.name} is {found.standing.words}; draw a new one from it.")
    parties = _checked(session, found.cryostat, drawn, faults or {})
    draft = found.draft
    draft.name, draft.version = drawn.name.strip(), after + 1
    session.add(draft)
    return _write(session, person, found.cryostat, draft, drawn, parties, at)


def need_hand(session: Session, person: Person, found: Sheet) -> None:
    """Forbidden unless it is the person's own draft, they share it, or they are steward."""
    if person.steward:
        return
    if found.draft.house:
        raise Forbidden("Only a steward may alter the house draft.")
    guards.need(session, person, found.cryostat, OPERATE)
    if person.id != found.draft.by_id and person.id not in party_keys(found):
        raise Forbidden(
            f"{found.draft.name} belongs to {found.draft.by_name}. Ask to share it, or draw your own from it."
        )


def party_keys(found: Sheet) -> tuple[int, ...]:
    """The keys of those who share the newest version."""
    return tuple(int(row["id"]) for row in found.version.parties)


def need_newest(found: Sheet, number: int) -> None:
    """Conflict when somebody stored a newer version than the one the person looked at."""
    if number != found.draft.version:
        newest = found.version
        raise Conflict(
            f"{found.draft.name} is at version {newest.number} now, stored by {newest.by_name}; "
            f"you looked at version {number}.",
            newest,
        )


def _checked(
    session: Session, cryostat: Cryostat, drawn: Drawn, faults: Mapping[str, str]
) -> list[dict[str, object]]:
    """The parties as they are stored; Refused with every fault at once."""
    change, found = drawn.change, dict(faults)
    ground: Mapping[str, Put] = {}
    if 0 <= change.base_revision <= cryostat.revision:
        ground = contents.elements(session, cryostat, change.base_revision)
        found |= draft_rules.faults(drawn.name, change, ground)
        found |= budget.element_faults(change.put, cryostat, materials.in_force(session))
    else:
        message = f"There is no revision {change.base_revision}; the newest is {cryostat.revision}"
        found["base_revision"] = message
    people = [session.get(Person, key) if 0 < key <= LARGEST_KEY else None for key in drawn.parties]
    known = [row for row in people if row is not None and row.active]
    if len(known) < len(people):
        found["parties"] = "Choose people who have an account"
    if found:
        raise Refused(NOT_STORED, found)
    return [{"id": row.id, "name": row.name} for row in {row.id: row for row in known}.values()]


def _house(session: Session, cryostat: Cryostat) -> Draft | None:
    query = select(Draft).where(Draft.cryostat_id == cryostat.id, col(Draft.house))
    return session.exec(query).first()


def _write(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    draft: Draft,
    drawn: Drawn,
    parties: list[dict[str, object]],
    at: datetime,
) -> Sheet:
    assert draft.id is not None
    change = drawn.change
    row = DraftVersion(
        draft_id=draft.id,
        number=draft.version,
        base_revision=change.base_revision,
        put=[written(put) for put in change.put],
        remove=list(change.remove),
        reason=change.reason.strip(),
        parties=parties,
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    draft_budgets.store(session, cryostat, row, at)
    line = f"Draft {draft.id}, {draft.name}: version {row.number} stored. {row.reason}"
    history.note(session, person, f"cryostat/{cryostat.slug}", line, at, {"draft": draft.id})
    return sheet(session, cryostat, draft, at)


def clashes(session: Session, found: Sheet) -> tuple[draft_rules.Clash, ...]:
    """The elements the draft touches that were changed in the cryostat since its base."""
    cryostat = found.cryostat
    base = contents.elements(session, cryostat, found.version.base_revision)
    present = contents.elements(session, cryostat, cryostat.revision)
    return draft_rules.clashes(found.change, base, present)


@dataclass(frozen=True)
class AsBuilt:
    """What was approved and built last, against what is inside now."""

    draft: Draft
    step: DraftStep
    difference: rules.Difference


def as_built(session: Session, cryostat: Cryostat) -> AsBuilt | None:
    """As built against as approved; None before the first draft is built."""
    query = (
        select(Draft, DraftStep)
        .join(DraftStep, col(DraftStep.draft_id) == col(Draft.id))
        .where(Draft.cryostat_id == cryostat.id, DraftStep.what == draft_rules.BUILT)
    )
    row = session.exec(query.order_by(col(DraftStep.id).desc()).limit(1)).first()
    if row is None:
        return None
    draft, step = row
    approved = draft_budgets.intended(session, cryostat, version(session, draft, step.version))
    difference = rules.difference(approved, contents.elements(session, cryostat, cryostat.revision))
    return AsBuilt(draft, step, difference)


def difference_to_now(session: Session, found: Sheet) -> rules.Difference:
    """What building it would change, were it taken as drawn."""
    cryostat = found.cryostat
    present = contents.elements(session, cryostat, cryostat.revision)
    return rules.difference(present, draft_budgets.intended(session, cryostat, found.version))
