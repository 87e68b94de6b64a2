"""The story's openings: two of one bench, each from gas let in to pumped down."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from server.cryostats import guards
from server.openings import kinds, service
from server.openings.service import Written
from server.people.models import Person

HOUR = timedelta(hours=1)
VENT = {"gas": "nitrogen", "oxygen": 0.208, "coldest_K": 293.5, "relief_free": True}


def tell(session: Session, people: Mapping[str, Person], at: datetime) -> None:
    """What was opened on one bench in the weeks before `at`."""
    steward = people["quill"]
    for weeks, why, gloves in ((7, "Sample exchanged", "4"), (3, "Lid window wiped", "6")):
        _whole(session, steward, at - timedelta(weeks=weeks), why, gloves)


def _whole(session: Session, person: Person, begun: datetime, why: str, gloves: str) -> None:
    cryostat = guards.find(session, "bench-b")
    number = service.start(session, person, cryostat, why, begun).opening.number
    steps: tuple[tuple[str, float, dict[str, Any], str], ...] = (
        (kinds.VENT, 0.2, VENT, ""),
        (kinds.LID_OFF, 0.7, {}, ""),
        (kinds.RING, 1.0, {"where": "Lid flange", "done": "greased"}, "No metal dust on it"),
        (kinds.WINDOW, 1.3, {"where": "Lid window", "done": "seen"}, ""),
        (kinds.SCREWS, 1.5, {"where": "Mount", "torque_N_m": 0.56, "driver": "D2"}, ""),
        (kinds.NOTE, 1.8, {}, "One clip at the shield window sits loose; bent back"),
        (kinds.USED, 2.0, {"amounts": {"vacuum-grease": "0.4", "gloves": gloves, "wipes": "12"}}, ""),
        (kinds.TRAY, 2.2, {"out": 14, "in": 14}, ""),
        (kinds.BUILT, 2.4, {}, ""),
        (kinds.CLOSE, 3.0, {"list_words": "Paper list used", "source_closed": True, "humidity": 0.41}, ""),
        (kinds.PUMPED, 9.0, {}, ""),
    )
    for kind, hours, data, note in steps:
        moment = begun + hours * HOUR
        wish = Written(kind, data, moment, note)
        service.enter(session, person, cryostat.slug, number, wish, moment)
