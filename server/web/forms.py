"""A submitted form, read once. Only text: stray spaces are gone, a missing field is empty."""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import Depends, Request
from starlette.datastructures import FormData

from server.errors import Refused

WHOLE = re.compile(r"-?[0-9]{1,9}")
"""A whole number that every database can hold."""


NO_TEXT = re.compile("[\x00\ud800-\udfff]")
"""What is no text in any database: the null sign and half surrogate pairs."""


class Form:
    """What somebody typed, by field name."""

    def __init__(self, fields: Sequence[tuple[str, str]]) -> None:
        self._fields: dict[str, list[str]] = {}
        for name, value in fields:
            self._fields.setdefault(name, []).append(NO_TEXT.sub("", value.strip()))

    def text(self, name: str) -> str:
        """The last value of the field, or an empty text."""
        return self._fields.get(name, [""])[-1]

    def all(self, name: str) -> list[str]:
        """Every value of the field, in order."""
        return self._fields.get(name, [])

    def has(self, name: str) -> bool:
        """True when the field was sent at all, as a ticked box is."""
        return name in self._fields

    def under(self, prefix: str) -> Mapping[str, str]:
        """The fields whose name begins with `prefix`, without it."""
        return {
            name[len(prefix) :]: values[-1]
            for name, values in self._fields.items()
            if name.startswith(prefix)
        }

    def moment(self, name: str, zone: str) -> datetime | None:
        """A day and clock typed in the laboratory's zone, as UTC; None if empty.

        Refused if unreadable, and where the clocks change: for a time that the clock leaves out, and for one
        that it shows twice, unless its offset is typed behind it.
        """
        text = self.text(name)
        if not text:
            return None
        try:
            typed = datetime.fromisoformat(text.replace(" ", "T"))
            moments = [typed.astimezone(UTC)] if typed.tzinfo else _moments(typed, ZoneInfo(zone))
        except (ValueError, OverflowError):
            raise Refused(
                "The time cannot be read.", {name: "Enter day and time such as 2026-03-14 11:20"}
            ) from None
        if len(moments) != 1:
            raise Refused("The clocks change at that time.", {name: _which(typed, moments, zone)})
        return moments[0]

    def whole(self, name: str) -> int | None:
        """A whole number; None when empty; Refused when unreadable."""
        text = self.text(name)
        if not text:
            return None
        if not WHOLE.fullmatch(text):
            raise Refused("The number cannot be read.", {name: "Enter a whole number such as 3"})
        return int(text)


def _moments(typed: datetime, zone: ZoneInfo) -> list[datetime]:
    """The moments at which the zone's clock shows this: two when it is put back, none when forward."""
    tries = {typed.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return sorted(at for at in tries if at.astimezone(zone).replace(tzinfo=None, fold=0) == typed)


def _which(typed: datetime, moments: Sequence[datetime], zone: str) -> str:
    """What to type instead."""
    if not moments:
        return f"The clocks go forward that day and leave {typed:%H:%M} out: enter the time they showed"
    first, second = (f"{at.astimezone(ZoneInfo(zone)).isoformat(' ', 'minutes')}" for at in moments)
    return (
        f"The clocks go back that day and show {typed:%H:%M} twice: enter {first} or, an hour later, {second}"
    )


async def _read(request: Request) -> Form:
    data: FormData = await request.form(max_fields=5000)
    return Form([(name, value) for name, value in data.multi_items() if isinstance(value, str)])


SentForm = Annotated[Form, Depends(_read)]
