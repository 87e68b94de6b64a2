"""A year in sums: hours by group, hours lost by cause, cooldowns, openings, residuals, what was used up.

It names no purpose and no sample, so that it can be handed on to whoever keeps the accounts. Its queries grow
with the cooldowns of the year asked for, never with the years of the book.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session, col, func, select

from server.bookings import fairness
from server.bookings.models import Booking, BookingStep, Member
from server.bookings.reality import CAUSES
from server.cooldowns import entry_kinds, finding, residual
from server.cooldowns import rules as cooldowns
from server.cooldowns.finding import Sheet
from server.cooldowns.models import Cooldown
from server.cooldowns.residual_rules import NOT_COMPARABLE
from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.cryostats.rules import EARLIEST_YEAR
from server.errors import Refused
from server.faults.models import Fault
from server.openings.models import Opening
from server.record.rules import Section
from server.stock.models import Item, Movement
from server.units import in_unit

USED = "used"
NO_GROUP = "no group, or several"


@dataclass(frozen=True)
class Year:
    """The sums of one year of the laboratory, `first` to `last` in its zone; a year that goes on ends now."""

    number: int
    first: datetime
    last: datetime
    whole: bool
    sections: tuple[Section, ...]


def of(session: Session, number: int | None, zone: str, now: datetime) -> Year:
    """The sums of a year, this one by default. Refused where it has not come or lies before any book."""
    newest = now.astimezone(ZoneInfo(zone)).year
    number = newest if number is None else number
    if not EARLIEST_YEAR <= number <= newest:
        raise Refused("Which year?", {"year": "Enter a year that has begun, such as 2026"})
    first, end = (datetime(year, 1, 1, tzinfo=ZoneInfo(zone)) for year in (number, number + 1))
    last = min(end, now)
    benches = instruments.all_of(session)
    sheets = {row.slug: _sheets(session, row, first, last) for row in benches}
    told = (
        _hours(session, benches, first, last),
        _lost(session, benches, first, last),
        _instruments(session, benches, sheets, first, last),
        _residuals(session, benches, sheets),
        _used(session, first, last),
    )
    return Year(number, first, last, end <= now, told)


def _hours(session: Session, benches: Sequence[Cryostat], first: datetime, last: datetime) -> Section:
    names = {row.id: row.name for row in fairness.groups(session)}
    rows = []
    for bench in benches:
        cold, over = fairness.hours(session, first, last, cryostat_id=bench.id)
        rows += [
            (names[key], bench.name, _h(hours), _h(over[key]))
            for key, hours in sorted(cold.items(), key=lambda pair: names[pair[0]])
        ]
    head = ("Group", "Cryostat", "Cold, as booked, less given back", "Changeover, as booked")
    return Section("Hours by group", head, tuple(rows), "No group had anything booked.")


def _lost(session: Session, benches: Sequence[Cryostat], first: datetime, last: datetime) -> Section:
    names = {row.id: row.name for row in benches}
    query = (
        select(BookingStep, Booking.cryostat_id)
        .join(Booking, col(Booking.id) == BookingStep.booking_id)
        .where(BookingStep.what == fairness.GIVEN_BACK, BookingStep.at >= first, BookingStep.at < last)
    )
    lost: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for step, cryostat_id in session.exec(query).all():
        words = CAUSES[step.data["cause"]][0]
        lost[names[cryostat_id], words].append((step.data["lost_h"], step.data["hours"]))
    rows = tuple(
        (words, name, str(len(hours)), _h(sum(row[0] for row in hours)), _h(sum(row[1] for row in hours)))
        for (name, words), hours in sorted(lost.items())
    )
    head = ("Lost by", "Cryostat", "Times", "Cold hours lost", "Of these given back")
    return Section("Hours lost by cause", head, rows, "No lost hours are written down.")


def _sheets(session: Session, bench: Cryostat, first: datetime, last: datetime) -> list[Sheet]:
    """Cooldowns any part of which lies in the year."""
    rows = [
        row
        for row in finding.cooldowns_of(session, bench.id or 0)
        if row.begun_at < last and (row.ended_at is None or row.ended_at > first)
    ]
    return finding.sheets(session, bench, rows) if rows else []


def _instruments(
    session: Session,
    benches: Sequence[Cryostat],
    sheets: Mapping[str, Sequence[Sheet]],
    first: datetime,
    last: datetime,
) -> Section:
    opened = _counted(session, Opening, col(Opening.begun_at), first, last)
    faults = _counted(session, Fault, col(Fault.seen_at), first, last)
    rows = tuple(
        (
            bench.name,
            str(sum(first <= sheet.cooldown.begun_at < last for sheet in sheets[bench.slug])),
            _h(sum(_cold_h(sheet, first, last) for sheet in sheets[bench.slug])),
            str(opened.get(bench.id, 0)),
            str(faults.get(bench.id, 0)),
        )
        for bench in benches
    )
    head = ("Cryostat", "Cooldowns begun", "Cold, from base to warming", "Openings begun", "Faults seen")
    return Section("What the instruments did", head, rows, "There is no cryostat.")


def _counted(
    session: Session, table: type[Opening] | type[Fault], moment: object, first: datetime, last: datetime
) -> dict[int | None, int]:
    query = select(table.cryostat_id, func.count()).where(moment >= first, moment < last)  # type: ignore[operator]
    return dict(session.exec(query.group_by(col(table.cryostat_id))).all())


def _cold_h(sheet: Sheet, first: datetime, last: datetime) -> float:
    """Hours from base, as written down, until it was warmed or ended, within the year."""
    base = cooldowns.newest(sheet.entries, entry_kinds.BASE)
    if base is None:
        return 0.0
    over: Cooldown = sheet.cooldown
    until = over.warming_at or over.ended_at or last
    return max((min(until, last) - max(base.at, first)).total_seconds() / 3600, 0.0)


def _residuals(
    session: Session, benches: Sequence[Cryostat], sheets: Mapping[str, Sequence[Sheet]]
) -> Section:
    rows: list[tuple[str, ...]] = []
    for bench in benches:
        found: dict[str, list[float]] = defaultdict(list)
        for sheet in sheets[bench.slug]:
            for row in residual.of(session, sheet):
                if row.verdict != NOT_COMPARABLE and row.difference_K:
                    found[row.stage].append(row.difference_K.middle)
        rows += [_mean(bench.name, stage, found[stage]) for stage in bench.stages if found[stage]]
    head = ("Stage", "Cryostat", "Mean of measured minus predicted", "Spread (sample)", "Cooldowns compared")
    return Section("Residuals", head, tuple(rows), "No cooldown could be compared with its prediction.")


def _mean(name: str, stage: str, values_K: Sequence[float]) -> tuple[str, ...]:
    spread = in_unit(float(np.std(values_K, ddof=1)), "mK", 2) if len(values_K) > 1 else ""
    return (stage, name, in_unit(float(np.mean(values_K)), "mK", 3), spread, str(len(values_K)))


def _used(session: Session, first: datetime, last: datetime) -> Section:
    """What was taken of each item, by the group of whoever took it."""
    query = (
        select(Movement.item_id, Movement.by_id, func.sum(Movement.change))
        .where(Movement.kind == USED, Movement.at >= first, Movement.at < last)
        .group_by(col(Movement.item_id), col(Movement.by_id))
    )
    groups = _only_group(session)
    taken: dict[tuple[int, str], Decimal] = defaultdict(Decimal)
    for item_id, by_id, change in session.exec(query).all():
        taken[item_id, groups.get(by_id or 0, NO_GROUP)] -= change
    items = {row.id: row for row in session.exec(select(Item)).all()}
    rows = sorted(_taken(items[key], group, amount) for (key, group), amount in taken.items() if amount)
    head = ("Item", "Group of whoever took it", "Used", "At the price last paid")
    return Section("What was used up", head, tuple(rows), "Nothing was taken from the stock room.")


def _taken(item: Item, group: str, amount: Decimal) -> tuple[str, ...]:
    cost = f"{item.price * amount:.2f} {item.currency}".strip() if item.price is not None else ""
    return (item.name, group, f"{amount.normalize():f} {item.unit}", cost)


def _only_group(session: Session) -> dict[int, str]:
    """Person → the group they are in, of those who are in exactly one."""
    names = {row.id: row.name for row in fairness.groups(session)}
    found: dict[int, list[str]] = defaultdict(list)
    for row in session.exec(select(Member)).all():
        found[row.person_id].append(names[row.group_id])
    return {person: told[0] for person, told in found.items() if len(told) == 1}


def _h(hours: float) -> str:
    return f"{hours:.1f} h"
