"""A reference cooldown with a heater test makes the next version of the cooler."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.cooldowns import entry_kinds, rules, service
from server.cooldowns.finding import Sheet
from server.cooldowns.models import CooldownEntry
from server.cooldowns.service import Written
from server.cryostats import instruments
from server.cryostats.models import CoolerVersion
from server.cryostats.rules import STEWARD
from server.errors import Refused
from server.people.models import Person


def points(sheet: Sheet) -> list[dict[str, Any]]:
    """The heater test of a cooldown as a cooler's document has it: its steps, with the base as zero watts."""
    rows = rules.counting(sheet.entries)
    steps = [row for row in rows if row.kind == entry_kinds.STEP]
    base = rules.newest(rows, entry_kinds.BASE)
    heated = {row.data["heated"] for row in steps}
    tested = {row.data["heated"] for row in steps if row.data["added_W"] == 0.0}
    zeros = [_zero(base, stage) for stage in sorted(heated - tested)] if base else []
    return [zero for zero in zeros if zero is not None] + [_point(row) for row in _lasting(steps)]


def _zero(base: CooldownEntry, stage: str) -> dict[str, Any] | None:
    reads = {name: base.data.get(name) for name in ("shield_K", "platform_K")}
    return None if None in reads.values() else {"heated": stage, "added_W": 0.0, **reads}


def _point(row: CooldownEntry) -> dict[str, Any]:
    return {name: row.data[name] for name in ("heated", "added_W", "shield_K", "platform_K")}


def _lasting(steps: Sequence[CooldownEntry]) -> list[CooldownEntry]:
    """Of each stage and power the step written last, in rising order."""
    by_power = {(row.data["heated"], row.data["added_W"]): row for row in steps}
    return [by_power[key] for key in sorted(by_power)]


def make_cooler(session: Session, person: Person, slug: str, number: int, now: datetime) -> CoolerVersion:
    """Enter the heater test of a cooldown as the cooler's next version; only a steward may."""
    sheet = service.locked(session, person, slug, number, STEWARD)
    found = points(sheet)
    base = rules.newest(sheet.entries, entry_kinds.BASE)
    if base is None or base.data.get("heater") != "off" or base.data.get("settled") != "yes":
        raise Refused(
            "No cooler was entered: the zero of the test is a base at which the heater was off "
            "and nothing moved any more. Write that down first."
        )
    if len([row for row in found if row["added_W"] > 0.0]) < 2:
        raise Refused("No cooler was entered: write down at least two steps of the heater test first.")
    data = {"cooler": {"kind": "heater-test", "points": found}, "bare_temperatures_K": {}}
    revision = service.revision_at(session, sheet.cryostat, base.at)
    note = f"Heater test of cooldown {number}"
    try:
        version = instruments.measure_cooler(session, person, sheet.cryostat, data, revision, note, now)
    except Refused as refused:
        raise Refused(f"No cooler was entered: {' '.join(refused.fields.values())}") from refused
    service.step(session, person, sheet, Written(entry_kinds.COOLER, {"version": version.number}, now), now)
    return version
