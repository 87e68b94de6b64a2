"""What people type about maintenance, read once."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TypeVar

from server.errors import Refused
from server.maintenance.rules import CONDITION, DAYS, TRIGGERS, Done
from server.web.forms import Form

Read = TypeVar("Read")
BAR_PA = 1e5
FOUND = ("serial_out", "serial_in", "engineer", "certificate")


def number(form: Form, name: str, faults: dict[str, str]) -> float | None:
    """A plain number; None when empty, with the fault at its field when unreadable."""
    text = form.text(name).replace(",", ".").replace(" ", "")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        faults[name] = "Enter a number such as 365"
        return None


def read(name: str, get: Callable[[], Read], faults: dict[str, str]) -> Read | None:
    """What `get` reads, or None with the fault beside the field."""
    try:
        return get()
    except Refused as refused:
        faults[name] = refused.fields[name]
        return None


def limits(form: Form, faults: dict[str, str]) -> tuple[dict[str, float], dict[str, float]]:
    """The intervals, and where the counters stood when it was last done."""
    found = {key: number(form, f"limit_{key}", faults) for key in TRIGGERS}
    stood = {key: number(form, f"stood_{key}", faults) for key in TRIGGERS if key != DAYS}
    return _known(found), _known(stood)


def _known(found: Mapping[str, float | None]) -> dict[str, float]:
    return {key: value for key, value in found.items() if value is not None}


def amounts(form: Form, name: str, faults: dict[str, str]) -> dict[str, float]:
    """Lines of an item's key and how much, such as `vacuum-grease 0.5`."""
    found = {}
    for line in form.text(name).splitlines():
        key, _, amount = line.strip().rpartition(" ")
        try:
            value = float(amount.replace(",", "."))
        except ValueError:
            value = 0.0
        if not key or not 0 < value < 1e6:
            if line.strip():
                faults[name] = (
                    "Enter a line for each: the item's key and how much, such as: vacuum-grease 0.5"
                )
            continue
        found[key.strip()] = value
    return found


def done(form: Form, zone: str, now: datetime, faults: dict[str, str]) -> Done:
    """An event as it was typed."""
    at = read("at", lambda: form.moment("at", zone), faults)
    helium_bar = number(form, "helium", faults)
    return Done(
        at=at or now,
        text=form.text("text"),
        resets=tuple(form.all("resets")),
        found={name: form.text(name) for name in FOUND if form.text(name)},
        hours=number(form, "hours", faults),
        helium_Pa=None if helium_bar is None else helium_bar * BAR_PA,
        used=amounts(form, "used", faults),
    )


def limit(form: Form, trigger: str, zone: str, faults: dict[str, str]) -> float | None:
    """Up to where something is put off: a moment in seconds, or what the counter may come to."""
    if trigger in (DAYS, CONDITION):
        moment = read("limit", lambda: form.moment("limit", zone), faults)
        return moment.timestamp() if moment is not None else None
    return number(form, "limit", faults)
