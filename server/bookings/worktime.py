"""When a laboratory works: its days, hours and holidays, right across a clock change. Pure."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import holidays

Stretch = tuple[datetime, datetime]
FARTHEST = 60
"""Days that are looked through for a stretch of work; no laboratory is closed for longer."""
ANY_DAY = "0123456"


@dataclass(frozen=True)
class WorkTime:
    """Working days (Monday 0) and hours on the laboratory's own clock; `country` names its holidays."""

    zone: str
    days: str
    opens: time
    closes: time
    country: str = ""
    region: str = ""
    always: bool = False
    """True where hands-on work may fall at any hour: two people, and leave given by the laboratory."""

    def stretch(self, day: date) -> Stretch | None:
        """The working hours of a day, in UTC; None when nobody works."""
        return _stretch(self, day)

    def holiday(self, day: date) -> str:
        """The name of the public holiday that falls on this day, or nothing."""
        return _free(self.country, self.region, day.year).get(day, "")

    def day_of(self, moment: datetime) -> date:
        """The laboratory's day at a moment."""
        return moment.astimezone(ZoneInfo(self.zone)).date()

    def stretches(self, moment: datetime, step: int = 1) -> Iterator[Stretch]:
        """The stretches of work from the day of `moment` on, or backwards with `step` −1."""
        first = self.day_of(moment)
        for number in range(FARTHEST):
            found = self.stretch(first + timedelta(days=step * number))
            if found is not None:
                yield found

    def first_fit(self, after: datetime, length: timedelta) -> datetime | None:
        """The earliest start, at `after` or later, from which `length` fits into one stretch of work."""
        if self.always or not length:
            return after
        for opens, closes in self.stretches(after):
            start = max(opens, after)
            if start + length <= closes:
                return start
        return None

    def last_fit(self, before: datetime, length: timedelta) -> datetime | None:
        """The latest start from which `length` fits into one stretch of work and ends by `before`."""
        if self.always or not length:
            return before - length
        for opens, closes in self.stretches(before, -1):
            start = min(closes, before) - length
            if start >= opens:
                return start
        return None

    def slack(self, ends: datetime) -> timedelta | None:
        """How far work that ends then may slip before its day is over; None where any hour will do."""
        if self.always:
            return None
        found = self.stretch(self.day_of(ends - timedelta(microseconds=1)))
        return max(found[1] - ends, timedelta()) if found else timedelta()

    def worked(self, first: datetime, last: datetime) -> timedelta:
        """Working time between two moments."""
        total, opens = timedelta(), timedelta()
        for opens_at, closes_at in self.stretches(first):
            if opens_at >= last:
                break
            opens = min(closes_at, last) - max(opens_at, first)
            total += max(opens, timedelta())
        return total

    def days_before(self, moment: datetime, days: int) -> datetime:
        """The moment `days` working days before `moment`."""
        day, left = self.day_of(moment), days
        while left > 0:
            day -= timedelta(days=1)
            left -= self.stretch(day) is not None
        here = moment.astimezone(ZoneInfo(self.zone))
        return datetime.combine(day, here.time(), ZoneInfo(self.zone)).astimezone(UTC)


@lru_cache(maxsize=4096)
def _stretch(work: WorkTime, day: date) -> Stretch | None:
    if str(day.weekday()) not in work.days or work.holiday(day):
        return None
    zone = ZoneInfo(work.zone)
    opens, closes = (datetime.combine(day, at, zone).astimezone(UTC) for at in (work.opens, work.closes))
    return opens, closes


@lru_cache(maxsize=64)
def _free(country: str, region: str, year: int) -> dict[date, str]:
    if not country:
        return {}
    return dict(holidays.country_holidays(country, subdiv=region or None, years=year))


def region_faults(country: str, region: str) -> dict[str, str]:
    """A country or region whose holidays nobody has listed; field → what to do."""
    known = holidays.list_supported_countries()
    if country and country not in known:
        return {"country": "Enter the two letters of a country, such as AT, or leave it empty"}
    if region and region not in known.get(country, ()):
        some = ", ".join(list(known.get(country, ()))[:12]) or "none is listed"
        return {"region": f"Enter a region of this country: {some}"}
    return {}
