"""What a laboratory's settings may be. Pure."""

from datetime import datetime, time
from zoneinfo import ZoneInfo, available_timezones

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def faults(name: str, zone: str, days: str, opens: time, closes: time) -> dict[str, str]:
    """Field → what to do about it; empty when all is well."""
    found = {}
    if not name.strip():
        found["name"] = "Enter the laboratory's name"
    if zone not in available_timezones():
        found["zone"] = "Enter a zone of the time-zone database, such as Europe/Vienna"
    if not days or any(day not in "0123456" for day in days):
        found["working_days"] = "Choose at least one working day"
    if opens >= closes:
        found["closes"] = "Working hours must end after they begin"
    return found


def in_working_time(moment: datetime, zone: str, days: str, opens: time, closes: time) -> bool:
    """True when `moment` falls into working hours, on the laboratory's own clock."""
    here = moment.astimezone(ZoneInfo(zone))
    return str(here.weekday()) in days and opens <= here.time() < closes
