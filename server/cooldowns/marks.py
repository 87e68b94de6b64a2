"""Marks that readings show: when a stage first came down to a temperature."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from sqlmodel import Session

from server.cooldowns import channels, entry_kinds, rules, service
from server.cooldowns.finding import Sheet
from server.cooldowns.readings_asked import latest, series
from server.cooldowns.residual import TEMPERATURE
from server.cooldowns.service import Written
from server.cryostats.rules import OPERATE
from server.errors import Refused
from server.people.models import Person

LONGEST = timedelta(days=5)
"""How long after the beginning marks are looked for."""


@dataclass(frozen=True)
class Found:
    """A mark that readings show and nobody has written down."""

    stage: str
    target: str
    at: datetime


def shown(session: Session, sheet: Sheet, now: datetime) -> tuple[Found, ...]:
    """Marks that the readings of this cooldown show, but for those written down already."""
    row = sheet.cooldown
    if row.started_at is None:
        return ()
    until = min(row.warming_at or row.ended_at or now, row.started_at + LONGEST)
    have = {(mark.stage, mark.target) for mark in rules.marks(row, sheet.entries)}
    found = []
    for channel in channels.of(session, row.cryostat_id):
        if channel.quantity != TEMPERATURE or channel.stage not in sheet.cryostat.stages[1:]:
            continue
        times_s, kelvin = series(session, row.cryostat_id, channel, row.started_at, until)
        for target, _ in entry_kinds.TARGETS[:-1]:
            cold = np.flatnonzero(kelvin <= float(target))
            if len(cold) and (channel.stage, target) not in have:
                have.add((channel.stage, target))
                found.append(Found(channel.stage, target, datetime.fromtimestamp(times_s[cold[0]], UTC)))
    return tuple(found)


def take(session: Session, person: Person, slug: str, number: int, now: datetime) -> int:
    """Write down the marks the readings show; how many there were."""
    sheet = service.locked(session, person, slug, number, OPERATE)
    found = shown(session, sheet, now)
    if not found:
        raise Refused("The readings show no mark that is not written down already.")
    for mark in found:
        data = {"stage": mark.stage, "target": mark.target, "from": "readings"}
        service.step(session, person, sheet, Written(entry_kinds.MARK, data, mark.at), now)
    return len(found)


def now_K(session: Session, sheet: Sheet, now: datetime) -> dict[str, float]:
    """Stage → what its thermometer reads now, to begin a form with. An old value is none."""
    return {
        row.channel.stage: row.value
        for row in latest(session, sheet.cooldown.cryostat_id, now)
        if row.channel.quantity == TEMPERATURE and row.channel.stage and row.value is not None
    }
