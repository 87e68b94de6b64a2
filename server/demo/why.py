"""Vibration records of the invented Bench A: before somebody moved the pump line, after, and with it freed.

The records are made here, of noise and tones; nothing was measured.
"""

import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from sqlmodel import Session

from server.cooldowns import vibration_records
from server.cooldowns.vibration_files import opened
from server.cooldowns.vibration_records import About
from server.cryostats.guards import find
from server.people.models import Person

SLUG = "bench-a"
RATE_HZ, LONG_S, FLOOR_m = 500.0, 96.0, 4e-9


@dataclass(frozen=True)
class Heard:
    """One record: days ago, its note, and the rms displacement of the line at 1.4 Hz and its double."""

    days_ago: float
    note: str
    line_m: float


STORY = (
    Heard(40.0, "Before the move", 6e-9),
    Heard(12.0, "After the move of the pump", 90e-9),
    Heard(11.8, "Hose freed from the wall bracket", 20e-9),
    Heard(11.7, "Pump line on its own route", 9e-9),
)


def tell(session: Session, people: Mapping[str, Person], at: datetime, home: Path) -> None:
    """Keep them, as jory would have sent them."""
    rng = np.random.default_rng(14)
    cryostat = find(session, SLUG)
    for told in STORY:
        taken_at = at - timedelta(days=told.days_ago)
        about = About(
            unit="m",
            rate_Hz=RATE_HZ,
            place="Sample",
            axis="x",
            cooler="on",
            pump="off",
            taken_at=taken_at,
            note=told.note,
            sent_name="sample-x.npy",
        )
        moment = taken_at + timedelta(minutes=20)
        vibration_records.keep(
            session, home, people["jory"], cryostat, opened(_content(told, rng)), about, moment, {}
        )


def _content(told: Heard, rng: np.random.Generator) -> bytes:
    times_s = np.arange(0.0, LONG_S, 1.0 / RATE_HZ)
    values = rng.normal(0.0, FLOOR_m, times_s.size)
    for harmonic, share in ((1, 0.9), (2, 0.4)):
        values += share * told.line_m * np.sqrt(2.0) * np.sin(2.0 * np.pi * 1.4 * harmonic * times_s)
    to = io.BytesIO()
    np.save(to, values.astype(np.float32))
    return to.getvalue()
