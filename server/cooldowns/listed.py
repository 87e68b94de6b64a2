"""Checklists of a cooldown: begun from its page, and known to it from then on."""

from datetime import datetime

from sqlmodel import Session

from server.checklists import service as checklists
from server.cooldowns import entry_kinds, rules, service
from server.cooldowns.service import Written
from server.cryostats.rules import OPERATE
from server.errors import NotFound
from server.people.models import Person

LISTS = ("before-cooling", "before-warming")


def begin(session: Session, person: Person, slug: str, number: int, list_key: str, now: datetime) -> str:
    """Its address; one that was begun already is gone on with."""
    if list_key not in LISTS:
        raise NotFound("There is no such checklist for a cooldown.")
    sheet = service.locked(session, person, slug, number, OPERATE)
    begun = [row for row in rules.counting(sheet.entries) if row.kind == entry_kinds.CHECKLIST]
    found = next((row for row in begun if row.data["list"] == list_key), None)
    if found is not None:
        return str(found.data["address"])
    made = checklists.start(session, person, sheet.cryostat, list_key, f"cooldown {number}", now)
    address = checklists.address(made)
    step = Written(entry_kinds.CHECKLIST, {"list": list_key, "address": address}, now)
    service.step(session, person, sheet, step, now)
    return address
