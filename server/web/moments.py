"""Moments and dates as a page shows them: in the laboratory's zone, with the zone said."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from fastapi import Request


def local(moment: datetime, zone: str) -> datetime:
    """`moment` in the laboratory's `zone`."""
    return moment.astimezone(ZoneInfo(zone))


def today(request: Request, now: datetime) -> date:
    """The day it is in the laboratory of this request."""
    return local(now, request.state.laboratory.zone).date()


def when(moment: datetime, zone: str) -> str:
    """Day and clock as people write them: `3 Mar 2026, 14:05 CET`."""
    here = local(moment, zone)
    return f"{here.day} {here:%b %Y, %H:%M} {here.tzname()}"


def day(moment: datetime, zone: str) -> str:
    """The day alone: `3 Mar 2026`."""
    here = local(moment, zone)
    return f"{here.day} {here:%b %Y}"


FILTERS = {"when": when, "day": day}
