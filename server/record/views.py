"""The page of a record: one moment of one cryostat, or the form that asks for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.cooldowns import entry_kinds
from server.cooldowns import finding as cooldowns
from server.cooldowns import rules as cooldown_rules
from server.cooldowns.finding import Sheet
from server.cryostats import guards, instruments
from server.cryostats.models import Cryostat
from server.cryostats.rules import EARLIEST_YEAR
from server.errors import Refused
from server.files.models import StoredFile
from server.record import finding, rules, sections
from server.record.finding import Found
from server.record.rules import Section
from server.web.forms import Form
from server.web.moments import when


@dataclass(frozen=True)
class Record:
    """One record, whole. `reference` stays as long as nobody adds anything to what it tells."""

    found: Found
    title: str
    reference: str
    sections: tuple[Section, ...]
    files: Sequence[tuple[str, StoredFile]]
    query: str


@dataclass(frozen=True)
class RecordView:
    """The page; `record` is None before anything was asked for."""

    cryostats: Sequence[tuple[str, str]]
    record: Record | None
    faults: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)


def page(session: Session, typed: Form, zone: str, now: datetime) -> RecordView:
    """The form, and the record it asks for."""
    choices = [(row.slug, row.name) for row in instruments.all_of(session)]
    sent = dict(typed.under(""))
    if not typed.text("cryostat"):
        return RecordView(choices, None, {}, sent)
    try:
        return RecordView(choices, record(session, typed, zone, now), {}, sent)
    except Refused as refused:
        return RecordView(choices, None, refused.fields, sent)


def record(session: Session, typed: Form, zone: str, now: datetime) -> Record:
    """The record of a cooldown, or of a day; Refused where neither is given. NotFound where there is none."""
    cryostat = guards.find(session, typed.text("cryostat"))
    if typed.text("cooldown"):
        return of_cooldown(session, cryostat, typed.whole("cooldown") or 0, zone)
    return of_day(session, cryostat, _day(typed.text("day"), now, zone), zone, now)


def _day(text: str, now: datetime, zone: str) -> date:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        words = "Enter a day such as 2026-03-14, or the number of a cooldown"
        raise Refused("Which day?", {"day": words}) from None
    return day_of(found, now, zone)


def day_of(found: date, now: datetime, zone: str) -> date:
    """A day on which a book may have stood; Refused before any, or ahead of the laboratory's day."""
    if found.year < EARLIEST_YEAR or found > now.astimezone(ZoneInfo(zone)).date():
        raise Refused("Which day?", {"day": "Enter a day that has come"})
    return found


def of_day(session: Session, cryostat: Cryostat, day: date, zone: str, now: datetime) -> Record:
    """What was inside at the end of a day of the laboratory."""
    begin = datetime.combine(day, time(), ZoneInfo(zone))
    end = datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone))
    found = finding.at(session, cryostat, begin, min(end, now))
    return _whole(found, f"{cryostat.name} on {day.isoformat()}", zone, f"day={day.isoformat()}")


def of_moment(session: Session, cryostat: Cryostat, at: datetime, zone: str, now: datetime) -> Record:
    """What was inside at one moment; Refused for one that lies ahead or before any book."""
    if at.year < EARLIEST_YEAR or at > now:
        raise Refused("Which moment?", {"at": "Enter a moment that has come, with its zone"})
    words = at.astimezone(ZoneInfo(zone)).isoformat(timespec="minutes")
    return _whole(finding.at(session, cryostat, at, at), f"{cryostat.name} at {words}", zone, f"at={words}")


def of_cooldown(session: Session, cryostat: Cryostat, number: int, zone: str) -> Record:
    """What was inside when a cooldown was at base, or when it began."""
    sheet = cooldowns.find(session, cryostat, number)
    at = _moment(sheet)
    found = finding.at(session, cryostat, sheet.cooldown.begun_at, max(at, sheet.cooldown.begun_at), sheet)
    title = f"{cryostat.name}, cooldown {number}, {when(at, zone)}"
    return _whole(found, title, zone, f"cooldown={number}")


def _moment(sheet: Sheet) -> datetime:
    base = cooldown_rules.newest(sheet.entries, entry_kinds.BASE)
    return base.at if base else sheet.cooldown.started_at or sheet.cooldown.begun_at


def _whole(found: Found, title: str, zone: str, query: str) -> Record:
    told = sections.of(found, zone)
    number = found.revision.number if found.revision else 0
    cold = f"-cooldown-{found.sheet.cooldown.number}" if found.sheet else ""
    what = query.partition("=")[2] if query.startswith("day") else ""
    day = f"-{what}" if what else ""
    reference = f"{found.cryostat.slug}{day}-revision-{number}{cold}-{rules.fingerprint(told)}"
    asked = f"cryostat={found.cryostat.slug}&{query}"
    return Record(found, title, reference, told, finding.files(found), asked)
