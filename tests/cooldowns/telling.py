"""Cooldowns told through the services, for the tests of this room."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlmodel import Session

from server.cooldowns import service
from server.cooldowns.finding import Sheet
from server.cooldowns.models import CooldownEntry
from server.cooldowns.service import Beginning, Written
from server.cryostats.models import Cryostat
from server.people.models import Person

BEGUN = datetime(2026, 3, 16, 8, tzinfo=UTC)
"""A Monday morning after everything in `tests.factories` was entered."""
HOUR = timedelta(hours=1)
AT_BASE = {"shield_K": 32.1, "platform_K": 3.19, "heater": "off", "settled": "yes"}


def begun(session: Session, person: Person, bench: Cryostat, at: datetime = BEGUN) -> Sheet:
    """Cooling began an hour ago."""
    return service.start(session, person, bench.slug, Beginning(0.3, at), at + HOUR)


def wrote(
    session: Session,
    person: Person,
    sheet: Sheet,
    kind: str,
    data: Mapping[str, Any],
    at: datetime,
    note: str = "",
) -> CooldownEntry:
    """Something written down when it happened."""
    wish = Written(kind, data, at, note)
    return service.enter(session, person, sheet.cryostat.slug, sheet.cooldown.number, wish, at)


def whole(
    session: Session,
    person: Person,
    bench: Cryostat,
    at: datetime = BEGUN,
    *,
    hours: float = 4.0,
    base: Mapping[str, Any] | None = None,
    end: bool = True,
) -> Sheet:
    """Pumped for two hours, cold after `hours`, warmed for three after a day."""
    service.prepare(session, person, bench.slug, "", at - 2 * HOUR, at)
    sheet = begun(session, person, bench, at)
    wrote(session, person, sheet, "base", base or AT_BASE, at + hours * HOUR)
    number = sheet.cooldown.number
    if end:
        warm_at = at + 24 * HOUR
        by_itself = Written("", {"method": "by itself"}, warm_at)
        service.warm(session, person, bench.slug, number, by_itself, warm_at)
        service.end(session, person, bench.slug, number, "parked", warm_at + 3 * HOUR, "", warm_at + 4 * HOUR)
    return service.find(session, bench, number)
