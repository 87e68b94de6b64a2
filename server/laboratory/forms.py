"""Reading the laboratory's settings."""

from dataclasses import dataclass
from datetime import time

from server.web.forms import Form

NAME_LONGEST = 80


@dataclass(frozen=True)
class Typed:
    """The settings as typed. A time that cannot be read is None."""

    name: str
    zone: str
    working_days: str
    opens: time | None
    closes: time | None
    country: str = ""


def read(form: Form) -> Typed:
    """The settings as typed, against no rule yet."""
    return Typed(
        name=form.text("name"),
        zone=form.text("zone"),
        working_days="".join(sorted(set(form.all("working_days")))),
        opens=_clock(form.text("opens")),
        closes=_clock(form.text("closes")),
        country=form.text("country").strip().upper(),
    )


def unreadable(typed: Typed) -> dict[str, str]:
    """What to do about what cannot be read: times that are none, a name that does not fit on a line."""
    clocks = {"opens": typed.opens, "closes": typed.closes}
    found = {name: "Enter a time of day such as 08:30" for name, clock in clocks.items() if clock is None}
    if len(typed.name) > NAME_LONGEST or not typed.name.isprintable():
        found["name"] = f"Enter a name of at most {NAME_LONGEST} letters on one line"
    return found


def _clock(typed: str) -> time | None:
    """`8`, `8:30` or `08:30`; None when unreadable."""
    hours, _, minutes = typed.replace(".", ":").partition(":")
    if not (hours.isdecimal() and (minutes or "0").isdecimal()):
        return None
    try:
        return time(int(hours), int(minutes or "0"))
    except ValueError:
        return None
