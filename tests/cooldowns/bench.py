"""Channels with readings, for tests of this room."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
from sqlmodel import Session

from server.cooldowns import channels, readings
from server.cooldowns.channels_models import Channel
from server.cooldowns.channels_rules import Wanted
from server.cryostats.models import Cryostat
from server.people.models import Person

NOON = datetime(2026, 3, 14, 12, tzinfo=UTC)
AFTER = NOON + timedelta(hours=6)
S = NOON.timestamp()
PLATFORM = Wanted("Platform", "temperature", "K", "platform", silent_after_s=600.0)
SHIELD = Wanted("Shield", "temperature", "K", "shield", silent_after_s=600.0)
VACUUM = Wanted("Vacuum", "pressure", "mbar")


def a_channel(session: Session, person: Person, cryostat: Cryostat, wanted: Wanted = PLATFORM) -> Channel:
    """A channel, made as people make one."""
    return channels.make(session, person, cryostat, wanted, NOON - timedelta(days=30))


def some(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    values: Sequence[float],
    name: str = "Platform",
    start_s: float = S,
    step_s: float = 60.0,
) -> readings.Stored:
    """Readings one after the other, stored hours later."""
    times = start_s + step_s * np.arange(len(values))
    return readings.store(session, person, cryostat, {name: (times, values)}, AFTER)
