"""The heat budgets of drafts: one with every version, and another when cooler or model moved on."""

from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import budget, contents, draft_rules, rules
from server.cryostats.documents import put_of
from server.cryostats.draft_models import Draft, DraftBudget, DraftStep, DraftVersion
from server.cryostats.models import Cryostat
from server.cryostats.rules import Change, Put
from server.physics.thermal import document


def change_of(version: DraftVersion) -> Change:
    """A version as a change on its base revision."""
    puts = tuple(put_of(row, "put")[0] for row in version.put)
    return Change(version.reason, version.base_revision, puts, tuple(version.remove))


def intended(session: Session, cryostat: Cryostat, row: DraftVersion) -> dict[str, Put]:
    """What would be inside, were the draft built on its own base."""
    ground = contents.elements(session, cryostat, row.base_revision)
    return rules.applied(ground, change_of(row))


def store(session: Session, cryostat: Cryostat, row: DraftVersion, at: datetime) -> DraftBudget:
    """Compute the budget of a version and keep it; older ones stay."""
    found = budget.compute(session, cryostat, intended(session, cryostat, row))
    made = DraftBudget(
        draft_id=row.draft_id,
        version=row.number,
        cooler_version=found.cooler_version,
        model=found.budget.model,
        at=at,
        data=found.data,
        own_materials=None if found.own_materials is None else dict(found.own_materials),
    )
    session.add(made)
    session.flush()
    return made


def of_version(session: Session, row: DraftVersion) -> budget.Found:
    """The newest budget stored for a version; one is stored with every version."""
    stored = _newest(session, row)
    read = document.read_budget(stored.data)
    return budget.Found(read, stored.data, stored.cooler_version, stored.at, stored.own_materials)


def _newest(session: Session, row: DraftVersion) -> DraftBudget:
    query = select(DraftBudget).where(DraftBudget.draft_id == row.draft_id, DraftBudget.version == row.number)
    return session.exec(query.order_by(col(DraftBudget.id).desc()).limit(1)).one()


def refresh(session: Session, cryostat: Cryostat, at: datetime) -> int:
    """Store anew the budget of every draft that may still be built and is behind; how many were."""
    behind = [row for row in _open(session, cryostat) if _is_behind(session, cryostat, row)]
    for row in behind:
        store(session, cryostat, row, at)
    return len(behind)


def _is_behind(session: Session, cryostat: Cryostat, row: DraftVersion) -> bool:
    stored = _newest(session, row)
    return budget.is_behind(session, cryostat, stored.model, stored.cooler_version)


def _open(session: Session, cryostat: Cryostat) -> list[DraftVersion]:
    """The newest version of each draft that is neither built nor withdrawn."""
    over = select(DraftStep.id).where(
        DraftStep.draft_id == Draft.id,
        DraftStep.version == Draft.version,
        col(DraftStep.what).in_((draft_rules.WITHDRAWN, draft_rules.BUILT)),
    )
    query = (
        select(DraftVersion)
        .join(Draft, (col(Draft.id) == DraftVersion.draft_id) & (col(Draft.version) == DraftVersion.number))
        .where(Draft.cryostat_id == cryostat.id, col(Draft.house) | ~over.exists())
    )
    return list(session.exec(query.order_by(col(DraftVersion.id))).all())
