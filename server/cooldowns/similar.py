"""The last cooldown of a configuration like this one, and what came of it."""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session, col, select

from server.cooldowns import entry_kinds, residual, rules
from server.cooldowns.finding import Sheet, sheets
from server.cooldowns.models import Cooldown
from server.cooldowns.residual_rules import Residual
from server.cooldowns.similar_rules import Likeness, likeness
from server.cryostats import contents
from server.cryostats.models import Cryostat
from server.cryostats.rules import Put

LOOKED_AT = 60
"""How many of the last cooldowns are looked through."""
AS_GOOD = 0.02
"""Of several that are about as alike the last one is told."""
LEAST = 0.3
"""Below this nothing is called alike (our own choice, no source)."""


@dataclass(frozen=True)
class Similar:
    """A cooldown whose base is known, how alike its configuration was, and its residual."""

    sheet: Sheet
    likeness: Likeness
    residuals: tuple[Residual, ...]


def find(
    session: Session, cryostat: Cryostat, puts: Mapping[str, Put], before: int | None = None
) -> Similar | None:
    """The last of those most alike; None where none is. `before` leaves out later cooldowns."""
    query = select(Cooldown).where(Cooldown.cryostat_id == cryostat.id, col(Cooldown.started_at).is_not(None))
    if before is not None:
        query = query.where(Cooldown.number < before)
    rows = session.exec(query.order_by(col(Cooldown.number).desc()).limit(LOOKED_AT)).all()
    based = [
        sheet
        for sheet in sheets(session, cryostat, rows)
        if rules.newest(sheet.entries, entry_kinds.BASE) is not None
    ]
    if not based:
        return None
    builds = contents.since(session, cryostat, min(sheet.expectation.revision for sheet in based))
    found = [(sheet, likeness(builds[sheet.expectation.revision], puts)) for sheet in based]
    best = max(alike.share for _, alike in found)
    if best < LEAST:
        return None
    sheet, alike = next(row for row in found if row[1].share >= best - AS_GOOD)
    return Similar(sheet, alike, residual.of(session, sheet))
