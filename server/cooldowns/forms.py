"""Forms of this room, read once into SI: entries of a cooldown, the numbers of the night, the roster."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from server.cooldowns import entry_kinds
from server.cooldowns.entry_kinds import KINDS, PRESSURE, WARMED, Asked
from server.cooldowns.night_rules import DONTS, MOST_CONTACTS, Contact, Numbers, Seen
from server.cooldowns.rules import AHEAD, Beginning
from server.cooldowns.service import Written
from server.errors import Refused
from server.units import BadNumber, parse_quantity
from server.web.forms import Form

SPARE = 2
"""Empty lines under the roster."""


@dataclass(frozen=True)
class Here:
    """The laboratory's zone, and the moment at which somebody typed."""

    zone: str
    now: datetime


CLOCK = re.compile(r"([01]?[0-9]|2[0-3])[:.]([0-5][0-9])")


def moment(form: Form, name: str, here: Here, faults: dict[str, str]) -> datetime | None:
    """A day and time typed, or a clock alone: then the last time it showed that. Faults go to `faults`."""
    found = CLOCK.fullmatch(form.text(name))
    if found is not None:
        return last_time(time(int(found[1]), int(found[2])), here)
    try:
        return form.moment(name, here.zone)
    except Refused as refused:
        faults |= refused.fields
        return None


def last_time(clock: time, here: Here) -> datetime:
    """The last moment at which the laboratory's clock showed this."""
    today = here.now.astimezone(ZoneInfo(here.zone)).date()
    tries = [
        datetime.combine(today - timedelta(days=back), clock.replace(fold=fold), ZoneInfo(here.zone))
        for back in (0, 1)
        for fold in (1, 0)
    ]
    past = [row.astimezone(UTC) for row in tries if row.astimezone(UTC) <= here.now + AHEAD]
    return max(past)


def number(form: Form, name: str, asked: Asked, faults: dict[str, str]) -> float | None:
    """One number in SI; None where it is empty or unknown."""
    text = form.text(name)
    if not text:
        return None
    try:
        value = parse_quantity(text, asked.suffix, asked.unit)
    except BadNumber as bad:
        faults[name] = str(bad)
        return None
    if value is not None and not isinstance(value, float):
        faults[name] = "Enter one number, as it was read"
        return None
    return value


def data(form: Form, asked: Sequence[Asked], faults: dict[str, str]) -> dict[str, Any]:
    """The fields of an entry in SI; those left empty are not in it."""
    found = {
        row.name: (form.text(row.name) or None) if row.choices else number(form, row.name, row, faults)
        for row in asked
    }
    return {name: value for name, value in found.items() if value is not None}


def written(form: Form, here: Here) -> Written:
    """An entry as somebody typed it."""
    faults: dict[str, str] = {}
    kind = form.text("kind")
    asked = KINDS[kind].asked if kind in KINDS else ()
    fields = data(form, asked, faults)
    at = moment(form, "at", here, faults)
    return Written(kind, fields, at, form.text("note"), _missing_apart(asked, fields, faults))


def _missing_apart(
    asked: Sequence[Asked], fields: Mapping[str, Any], faults: dict[str, str]
) -> dict[str, str]:
    """With a field that cannot be read, those that are missing are told at once."""
    if faults:
        missing = [row for row in asked if row.needed and row.name not in fields and row.name not in faults]
        faults |= {
            row.name: f"{'Choose' if row.choices else 'Enter'}: {row.label.lower()}" for row in missing
        }
    return faults


def warming(form: Form, here: Here) -> Written:
    """How warming began."""
    faults: dict[str, str] = {}
    fields = data(form, WARMED, faults)
    at = moment(form, "at", here, faults)
    return Written(entry_kinds.WARMING, fields, at, form.text("note"), faults)


def beginning(form: Form, here: Here) -> Beginning:
    """How cooling began."""
    faults: dict[str, str] = {}
    pressure_Pa = number(form, "pressure_Pa", KINDS[PRESSURE].asked[0], faults)
    at = moment(form, "at", here, faults)
    return Beginning(pressure_Pa, at, form.text("despite"), form.text("note"), faults)


NUMBERS = (
    Asked("go_Pa", "Cooling begins below", "mbar", hint="Pump with the valve open."),
    Asked("restart_Pa", "Nobody starts it again above", "mbar"),
    Asked("longest_stop_s", "Nobody starts it again after a stop of more than", "min"),
)


def numbers(form: Form) -> tuple[Numbers, dict[str, str]]:
    """The numbers of a cryostat, and what cannot be read of them."""
    faults: dict[str, str] = {}
    values = {row.name: number(form, row.name, row, faults) for row in NUMBERS}
    return (
        Numbers(
            values["go_Pa"],
            values["restart_Pa"],
            values["longest_stop_s"],
            form.text("restarts_itself") or "not-recorded",
            form.text("decides"),
            tuple(form.text(f"dont.{line}") for line in range(DONTS)),
            form.text("words"),
        ),
        faults,
    )


def contacts(form: Form) -> tuple[list[Contact], dict[str, str]]:
    """The roster: every line in which a name or a number stands."""
    faults: dict[str, str] = {}
    found = []
    for line in range(MOST_CONTACTS):
        row = f"contact.{line}."
        name, phone = form.text(f"{row}name"), form.text(f"{row}phone")
        if not name and not phone:
            continue
        nights = "".join(sorted(set(form.all(f"{row}nights"))))
        found.append(Contact(name, phone, form.text(f"{row}may"), _minutes(form, row, faults), nights))
    return found, faults


def _minutes(form: Form, row: str, faults: dict[str, str]) -> int:
    try:
        return form.whole(f"{row}after_min") or 0
    except Refused as refused:
        faults |= refused.fields
        return 0


SEEN_PRESSURE = Asked("pressure_Pa", "Pressure now", "mbar")


def seen(form: Form, here: Here) -> Seen:
    """A record of the night."""
    faults: dict[str, str] = {}
    return Seen(
        seen=form.text("seen"),
        seen_at=moment(form, "seen_at", here, faults),
        stopped_at=moment(form, "stopped_at", here, faults),
        pressure_Pa=number(form, "pressure_Pa", SEEN_PRESSURE, faults),
        called=form.text("called"),
        left=form.text("left"),
        faults=faults,
    )
