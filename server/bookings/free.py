"""The next free slot for somebody who lost a race: found after their transaction was rolled back.

However many lose at once, one of them looks; the others take its answer while it is fresh.
"""

import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlalchemy.engine import Engine

from server.bookings import asking
from server.bookings.checks import Ask
from server.bookings.finding import Slot
from server.cryostats import guards
from server.db import reading

FRESH = timedelta(seconds=1)
MOST = 256
"""Answers that are kept; the oldest go first."""
Key = tuple[str, float, str, int | None]


@dataclass
class Answers:
    """Answers by cryostat and wish, each at most a second old; one look at a time for one cryostat."""

    kept: "OrderedDict[Key, tuple[datetime, Slot | None]]" = field(default_factory=OrderedDict)
    locks: dict[str, threading.Lock] = field(default_factory=dict)
    guard: threading.Lock = field(default_factory=threading.Lock)
    looks: int = 0
    """How often somebody really looked."""

    def next_free(self, engine: Engine, slug: str, ask: Ask, now: datetime) -> Slot | None:
        """The first slot for this ask; the answer of somebody who asked the same within a second will do."""
        key = (slug, ask.cold_hours, ask.want, ask.draft_id)
        with self._lock_of(slug):
            found = self.kept.get(key)
            if found is not None and abs(now - found[0]) < FRESH:
                return found[1]
            with reading(engine) as session:
                slots = asking.slots(session, guards.find(session, slug), ask, now, 1)
            self.looks += 1
            answer = slots[0] if slots else None
            self._keep(key, now, answer)
            return answer

    def _lock_of(self, slug: str) -> threading.Lock:
        with self.guard:
            return self.locks.setdefault(slug, threading.Lock())

    def _keep(self, key: Key, now: datetime, answer: Slot | None) -> None:
        with self.guard:
            self.kept[key] = (now, answer)
            self.kept.move_to_end(key)
            while len(self.kept) > MOST:
                self.kept.popitem(last=False)


def answers(app_state: object) -> Answers:
    """The answers of one application."""
    found: Answers | None = getattr(app_state, "next_free", None)
    if found is None:
        found = Answers()
        app_state.next_free = found  # type: ignore[attr-defined]
    return found
