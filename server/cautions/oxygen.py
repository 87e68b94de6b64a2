"""The oxygen arithmetic of a room: reckoned for the safety officer, kept with date and name.

It gives no permission and says of nothing that it may be done: local rules decide.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from server.cautions.oxygen_models import OxygenCard
from server.errors import Refused
from server.history import service as history
from server.physics.thermal.oxygen import oxygen_after_release, oxygen_in_flow

LONGEST_LINE, LONGEST_NOTE = 120, 2000
LIMITS = {
    "volume_m3": (0.1, 1e6, "Enter the air volume of the room, from 0.1 to 1 000 000 m³"),
    "release_m3": (0.0, 1e6, "Enter the largest release as gas at room temperature, up to 1 000 000 m³"),
    "rate_m3_s": (0.0, 100.0, "Enter how much runs when a purge is forgotten, such as 10 L/min"),
    "duration_s": (0.0, 1e8, "Enter how long it runs before anybody comes, such as 14 h"),
    "air_changes_per_h": (
        0.0,
        1000.0,
        "Enter air changes an hour, 0 to 1000; 0 where nothing is measured",
    ),
}
NUMBERS = tuple(LIMITS)


@dataclass(frozen=True)
class Asked:
    """A room as somebody describes it; None where a number could not be read."""

    room: str
    gas: str
    numbers: Mapping[str, float | None]
    note: str = ""


def faults(asked: Asked) -> dict[str, str]:
    """Field → what to do about it; empty when all is well."""
    found = {}
    for name, text in (("room", asked.room), ("gas", asked.gas)):
        if not text.strip():
            found[name] = f"Enter which {name}"
        elif len(text) > LONGEST_LINE or not text.isprintable():
            found[name] = f"At most {LONGEST_LINE} letters on one line"
    if len(asked.note) > LONGEST_NOTE:
        found["note"] = f"At most {LONGEST_NOTE} letters"
    for name, (low, high, words) in LIMITS.items():
        value = asked.numbers.get(name)
        if value is None or not math.isfinite(value) or not low <= value <= high:
            found[name] = words
    return found


def record(session: Session, author: history.Author, asked: Asked, now: datetime) -> OxygenCard:
    """Reckon a room and keep it; Refused with the fields to mend."""
    wrong = faults(asked)
    if wrong:
        raise Refused("The card was not stored.", wrong)
    numbers: dict[str, Any] = {name: value for name, value in asked.numbers.items() if value is not None}
    volume_m3, rate_m3_s, duration_s = (numbers[key] for key in ("volume_m3", "rate_m3_s", "duration_s"))
    row = OxygenCard(
        room=asked.room.strip(),
        gas=asked.gas.strip(),
        note=asked.note.strip(),
        sudden_share=oxygen_after_release(volume_m3, numbers["release_m3"]),
        slow_share=oxygen_in_flow(volume_m3, rate_m3_s, numbers["air_changes_per_h"], duration_s),
        sealed_share=oxygen_in_flow(volume_m3, rate_m3_s, 0.0, duration_s),
        at=now,
        by_name=author.name,
        by_id=author.id,
        **numbers,
    )
    session.add(row)
    session.flush()
    history.note(session, author, "caution/S01", f"Oxygen arithmetic of {row.room} reckoned", now)
    return row


def cards(session: Session, limit: int = 100) -> Sequence[OxygenCard]:
    """The newest first."""
    return session.exec(select(OxygenCard).order_by(col(OxygenCard.id).desc()).limit(limit)).all()
