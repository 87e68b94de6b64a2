"""The days a laboratory works: the days of its week without the public holidays of its country. Pure."""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import holidays

FARTHEST = 400
"""Days looked through at most; no laboratory is closed for longer."""


@dataclass(frozen=True)
class WorkingWeek:
    """Digits of the days worked, Monday 0; `country` as `AT` or `AT-9`, empty where no holiday counts."""

    days: str = "01234"
    country: str = ""

    def works_on(self, day: date) -> bool:
        """True when the laboratory works on `day`."""
        return str(day.weekday()) in self.days and day not in _free(self.country, day.year)

    def before(self, day: date, count: int) -> date:
        """The day from which `count` working days lie before `day`, that day itself counted."""
        for _ in range(FARTHEST):
            if count <= 0:
                break
            day -= timedelta(days=1)
            count -= self.works_on(day)
        return day

    def between(self, first: date, last: date) -> int:
        """How many working days there are from `first` up to, but without, `last`."""
        span = range(max(0, (last - first).days))
        return sum(self.works_on(first + timedelta(days=number)) for number in span)


def country_faults(country: str) -> dict[str, str]:
    """A country, or a region of one, whose holidays nobody has listed."""
    code, _, region = country.partition("-")
    known = holidays.list_supported_countries()
    if not country or (code in known and (not region or region in known[code])):
        return {}
    return {"country": "Enter two letters such as AT, with a region such as AT-9, or leave it empty"}


@lru_cache(maxsize=64)
def _free(country: str, year: int) -> frozenset[date]:
    if not country:
        return frozenset()
    code, _, region = country.partition("-")
    return frozenset(holidays.country_holidays(code, subdiv=region or None, years=year))
