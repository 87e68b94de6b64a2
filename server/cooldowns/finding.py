"""Cooldowns found again, each with all that was written in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, func, select

from server.cooldowns import entry_kinds, rules
from server.cooldowns.models import Cooldown, CooldownEntry, Expectation
from server.cryostats.models import Cryostat, Revision
from server.errors import NotFound
from server.physics.statistics import Band

LARGEST_KEY = 2**31 - 1


@dataclass(frozen=True)
class Sheet:
    """A cooldown with all that was written in it. `entries` holds those taken back as well."""

    cooldown: Cooldown
    cryostat: Cryostat
    entries: tuple[CooldownEntry, ...]
    expectations: tuple[Expectation, ...]

    @property
    def phase(self) -> str:
        """Where it is."""
        return rules.phase(self.cooldown, rules.newest(self.entries, entry_kinds.BASE) is not None)

    @property
    def expectation(self) -> Expectation:
        """What was expected of it, as it was written last before cooling began."""
        return self.expectations[-1]

    @property
    def expected_K(self) -> dict[str, Band]:
        """Stage → the prediction."""
        return {stage: Band(*ends) for stage, ends in self.expectation.temperatures_K.items()}


def cooldowns_of(session: Session, cryostat_id: int) -> Sequence[Cooldown]:
    """Every cooldown of a cryostat, newest first."""
    query = select(Cooldown).where(Cooldown.cryostat_id == cryostat_id)
    return session.exec(query.order_by(col(Cooldown.number).desc())).all()


def under_way(session: Session, cryostat_id: int) -> Cooldown | None:
    """The one that has not ended, or None."""
    query = select(Cooldown).where(Cooldown.cryostat_id == cryostat_id, col(Cooldown.ended_at).is_(None))
    return session.exec(query).first()


def find(session: Session, cryostat: Cryostat, number: int) -> Sheet:
    """One cooldown by its number; NotFound."""
    query = select(Cooldown).where(Cooldown.cryostat_id == cryostat.id, Cooldown.number == number)
    found = session.exec(query).first() if 0 < number <= LARGEST_KEY else None
    if found is None:
        raise NotFound(f"{cryostat.name} has no cooldown {number}.")
    return sheets(session, cryostat, [found])[0]


def sheets(session: Session, cryostat: Cryostat, rows: Sequence[Cooldown]) -> list[Sheet]:
    """Each with its entries and expectations, in two queries."""
    keys = [row.id for row in rows]
    entries: dict[int, list[CooldownEntry]] = {}
    for entry in session.exec(
        select(CooldownEntry)
        .where(col(CooldownEntry.cooldown_id).in_(keys))
        .order_by(col(CooldownEntry.at), col(CooldownEntry.id))
    ).all():
        entries.setdefault(entry.cooldown_id, []).append(entry)
    expected: dict[int, list[Expectation]] = {}
    for line in session.exec(
        select(Expectation)
        .where(col(Expectation.cooldown_id).in_(keys))
        .order_by(col(Expectation.cooldown_id), col(Expectation.id))
    ).all():
        expected.setdefault(line.cooldown_id, []).append(line)
    return [
        Sheet(row, cryostat, tuple(entries.get(row.id or 0, ())), tuple(expected.get(row.id or 0, ())))
        for row in rows
    ]


def revision_at(session: Session, cryostat: Cryostat, moment: datetime) -> int:
    """The revision that stood inside at a moment."""
    query = select(func.max(Revision.number)).where(
        Revision.cryostat_id == cryostat.id, col(Revision.done_at) <= moment
    )
    return session.exec(query).one() or 0


def revisions_in(session: Session, cryostat: Cryostat, cooldown: Cooldown) -> Sequence[Revision]:
    """What was changed while it was going on, each with its time."""
    if cooldown.started_at is None:
        return ()
    query = select(Revision).where(
        Revision.cryostat_id == cryostat.id, col(Revision.done_at) > cooldown.started_at
    )
    if cooldown.ended_at is not None:
        query = query.where(col(Revision.done_at) <= cooldown.ended_at)
    return session.exec(query.order_by(col(Revision.number))).all()
