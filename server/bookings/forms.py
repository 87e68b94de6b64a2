"""Reading what people type when they ask for a cryostat, move a booking, or place a hold."""

from collections.abc import Mapping
from datetime import datetime

from server import units
from server.bookings.checks import AS_IS, DRAFT, Ask
from server.errors import Refused
from server.web.forms import Form

MOST_S = 1e10
NAMES = (
    "cold_hours",
    "inside",
    "earliest",
    "latest",
    "purpose",
    "wanted",
    "hazards",
    "group",
    "helper",
    "training",
    "any_hour",
    "override",
    "cold_as_is",
)
"""The fields of an ask, as they travel from the page to the slots and on to the booking."""


def ask(form: Form, zone: str) -> tuple[Ask, dict[str, str]]:
    """The ask as typed, with what cannot be read: field → what to do."""
    faults: dict[str, str] = {}
    inside = form.text("inside") or AS_IS
    want, _, number = inside.partition(":")
    made = Ask(
        cold_hours=hours(form, "cold_hours", faults) or 0.0,
        purpose=form.text("purpose"),
        want=want,
        draft_id=_whole(number, "inside", faults) if want == DRAFT else None,
        hazards=form.text("hazards"),
        wanted_K=_wanted(form, faults),
        group_id=_whole(form.text("group"), "group", faults),
        helper_id=_whole(form.text("helper"), "helper", faults),
        any_hour=form.has("any_hour"),
        training=form.has("training"),
        override=form.text("override"),
        earliest=moment(form, "earliest", zone, faults),
        latest=moment(form, "latest", zone, faults),
        cold_as_is=form.has("cold_as_is"),
    )
    return made, faults


def hours(form: Form, name: str, faults: dict[str, str]) -> float | None:
    """A length of time in hours: `40`, `40 h` or `2 d`; None when empty."""
    text = form.text(name)
    if not text:
        return None
    found_s = _number(text, "s", "h")
    if found_s is None or not 0 <= found_s < MOST_S:
        faults[name] = "Enter hours such as 40, or days such as 2 d"
        return None
    return found_s / 3600


def _number(text: str, suffix: str, unit: str) -> float | None:
    """One plain number in SI, its unit typed or not; None when it is none, or a range."""
    try:
        found = units.parse_quantity(text, suffix, unit)
    except ValueError:
        return None
    return found if isinstance(found, float) else None


def _wanted(form: Form, faults: dict[str, str]) -> float | None:
    text = form.text("wanted")
    if not text:
        return None
    found = _number(text, "K", "K")
    if found is None:
        faults["wanted"] = "Enter a temperature such as 3.6 K"
    return found


def _whole(text: str, name: str, faults: dict[str, str]) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        faults[name] = "Choose one of the list"
        return None
    return int(text)


def moment(form: Form, name: str, zone: str, faults: dict[str, str]) -> datetime | None:
    """A day and clock in the laboratory's zone; None when empty."""
    try:
        return form.moment(name, zone)
    except Refused as refused:
        faults.update(refused.fields)
        return None


def typed(form: Form) -> Mapping[str, str]:
    """The fields of an ask as text, to be shown again."""
    return {name: form.text(name) for name in NAMES if form.has(name)}
