"""Slips found again, with their entries; the rings and windows of a cryostat."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from server.cryostats import guards, parts
from server.cryostats.models import Cryostat
from server.cryostats.part_models import Part
from server.cryostats.part_rules import BROKEN, RETIRED
from server.errors import NotFound
from server.openings import rules
from server.openings.models import Opening, OpeningEntry
from server.people.models import Person


@dataclass(frozen=True)
class Sheet:
    """One slip with all that was written on it, the oldest first."""

    opening: Opening
    cryostat: Cryostat
    entries: tuple[OpeningEntry, ...]

    @property
    def phase(self) -> str:
        """Where it stands."""
        return rules.phase(self.opening)

    @property
    def counting(self) -> list[OpeningEntry]:
        """The entries that count."""
        return rules.counting(self.entries)


def address(cryostat: Cryostat, opening: Opening) -> str:
    """Its page."""
    return f"/cryostats/{cryostat.slug}/openings/{opening.number}"


def find(session: Session, cryostat: Cryostat, number: int) -> Sheet:
    """One slip of this cryostat; NotFound."""
    query = select(Opening).where(Opening.cryostat_id == cryostat.id, Opening.number == number)
    found = session.exec(query).first() if 0 < number < 2**31 else None
    if found is None:
        raise NotFound(f"{cryostat.name} has no opening {number}.")
    return sheet(session, cryostat, found)


def sheet(session: Session, cryostat: Cryostat, opening: Opening) -> Sheet:
    """The slip with its entries."""
    query = select(OpeningEntry).where(OpeningEntry.opening_id == opening.id)
    rows = session.exec(query.order_by(col(OpeningEntry.id))).all()
    return Sheet(opening, cryostat, tuple(rows))


def locked(session: Session, person: Person, slug: str, number: int, grade: int) -> Sheet:
    """One slip, while nobody else may write on it; Forbidden below the grade."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, grade)
    return find(session, cryostat, number)


def under_way(session: Session, cryostat_id: int) -> Opening | None:
    """The slip that has not ended; there is at most one."""
    query = select(Opening).where(Opening.cryostat_id == cryostat_id, col(Opening.ended_at).is_(None))
    return session.exec(query).first()


def openings_of(
    session: Session, cryostat: Cryostat, limit: int = 50, before: int | None = None
) -> Sequence[Opening]:
    """The newest first; with `before`, those of a smaller number."""
    query = select(Opening).where(Opening.cryostat_id == cryostat.id)
    if before is not None:
        query = query.where(Opening.number < before)
    return session.exec(query.order_by(col(Opening.number).desc()).limit(limit)).all()


def parts_here(session: Session, cryostat: Cryostat, *kinds: str) -> list[Part]:
    """Parts of these kinds that are inside here, or whose place names this cryostat."""
    name, within = cryostat.name.casefold(), parts.inside(session)
    return [
        row
        for row in parts.listed(session)
        if row.kind in kinds and row.state not in (BROKEN, RETIRED) and _here(row, within, cryostat, name)
    ]


def _here(row: Part, within: dict[str, Cryostat], cryostat: Cryostat, name: str) -> bool:
    return within[row.tag].id == cryostat.id if row.tag in within else name in row.place.casefold()
