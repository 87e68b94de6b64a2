"""What the cryostats themselves have to say: warm, unexplained, silent, missing."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from textwrap import shorten
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from server.cooldowns import entry_kinds, finding, residual, rules
from server.cooldowns.models import Cooldown
from server.cooldowns.readings_asked import Latest
from server.cooldowns.residual_rules import OUTSIDE
from server.cryostats import samples
from server.cryostats.models import Cryostat, StateEntry
from server.cryostats.rules import OPEN
from server.cryostats.samples import Inside
from server.faults import service as faults
from server.faults.models import Fault
from server.faults.rules import STILL_OPEN
from server.notices.rules import (
    KNOW,
    MISSING,
    SILENT,
    SOON,
    STOPS,
    UNEXPLAINED,
    WARM,
    Notice,
    Reach,
    day_words,
)
from server.units import in_unit

BASE_BY = timedelta(hours=48)
"""How long after cooling began its base is missed (common practice, no source)."""
MOST_FAULTS = 50
LONGEST = 120
NOT_RECORDED = "not-recorded"


@dataclass(frozen=True)
class Floor:
    """The cryostats as the book has them now, each look made once for all of them."""

    cryostats: Sequence[Cryostat]
    states: Mapping[int, StateEntry]
    shutters: Mapping[int, Sequence[tuple[str, str]]]
    newest: Mapping[int, tuple[Latest, ...]]
    zone: str
    """The laboratory's, in which its days are told."""

    def name(self, cryostat_id: int | None) -> str:
        """The name of a cryostat; empty for none."""
        return next((row.name for row in self.cryostats if row.id == cryostat_id), "")


def told(session: Session, reach: Reach, floor: Floor, now: datetime, today: date) -> Iterator[Notice]:
    """What concerns somebody who operates there."""
    mine = [row for row in floor.cryostats if reach.operates(row.id)]
    yield from cooling(session, mine, now)
    yield from unexplained(_faults(session), floor, reach, today)
    for cryostat in mine:
        yield from silent(cryostat, floor, today)
        yield from missing(cryostat, floor, reach)
    inside = samples.inside(session, mine)
    for cryostat in mine:
        yield from left_inside(cryostat, inside.get(cryostat.id or 0, ()), reach)


def cooling(session: Session, cryostats: Sequence[Cryostat], now: datetime) -> Iterator[Notice]:
    """Of each cooldown under way: a residual outside its band; a base nobody wrote down."""
    named = {row.id: row for row in cryostats}
    query = select(Cooldown).where(
        col(Cooldown.ended_at).is_(None),
        col(Cooldown.warming_at).is_(None),
        col(Cooldown.started_at).is_not(None),
        col(Cooldown.cryostat_id).in_(list(named)),
    )
    for cooldown in session.exec(query.order_by(col(Cooldown.id))).all():
        cryostat = named[cooldown.cryostat_id]
        sheet = finding.sheets(session, cryostat, [cooldown])[0]
        home = f"/cryostats/{cryostat.slug}/cooldowns/{cooldown.number}"
        name = f"{cryostat.name}, cooldown {cooldown.number}"
        if rules.newest(sheet.entries, entry_kinds.BASE) is None:
            if cooldown.started_at is not None and now - cooldown.started_at > BASE_BY:
                key = f"base-{cooldown.id}"
                yield Notice(MISSING, key, f"{name}: no base written down", "Write the base down", home, SOON)
            continue
        for row in residual.of(session, sheet):
            if row.verdict == OUTSIDE and row.outside_K > 0:
                what = f"{name}: {row.stage} {in_unit(row.outside_K, 'K', 2)} beyond what was predicted"
                key = f"warm-{cooldown.id}-{row.stage}"
                yield Notice(WARM, key, what, "See what may be behind it", f"{home}/diagnosis", STOPS)


def _faults(session: Session) -> Sequence[Fault]:
    return faults.listed(session, states=STILL_OPEN, limit=MOST_FAULTS)


def unexplained(rows: Sequence[Fault], floor: Floor, reach: Reach, today: date) -> Iterator[Notice]:
    """Faults of which no cause is found yet, of one's cryostats or one's own."""
    for row in rows:
        own = reach.person_id in (row.owner_id, row.by_id)
        if row.cause or not (own or reach.operates(row.cryostat_id)):
            continue
        name = floor.name(row.cryostat_id)
        seen = day_words(row.seen_at.astimezone(ZoneInfo(floor.zone)).date(), today)
        what = (
            f"{name + ': ' if name else ''}{shorten(row.what_seen, LONGEST, placeholder=' …')}, seen {seen}"
        )
        step = "Find the cause" if row.owner_id else "Say who looks at it"
        weight = STOPS if row.severity == "stops-work" else SOON if row.severity == "disturbs" else KNOW
        yield Notice(UNEXPLAINED, f"fault-{row.id}", what, step, faults.address(row), weight)


def silent(cryostat: Cryostat, floor: Floor, today: date) -> Iterator[Notice]:
    """Channels that are silent, a cryostat in one line: a logger that stops silences all of them at once."""
    quiet = [row for row in floor.newest.get(cryostat.id or 0, ()) if row.silent]
    if not quiet:
        return
    last = max((row.last_at for row in quiet if row.last_at), default=None)
    day = last.astimezone(ZoneInfo(floor.zone)).date() if last else None
    since = f"last reading {day_words(day, today)}" if day else "no reading ever"
    names = ", ".join(row.channel.name for row in quiet[:4])
    more = f" and {len(quiet) - 4} more" if len(quiet) > 4 else ""
    what = f"{cryostat.name}: {names}{more} silent, {since}"
    address = f"/cryostats/{cryostat.slug}/readings"
    yield Notice(SILENT, f"silent-{cryostat.id}", what, "Look at the logger", address, STOPS)


def missing(cryostat: Cryostat, floor: Floor, reach: Reach) -> Iterator[Notice]:
    """What nobody entered: the state, whether lid and windows are in."""
    home = f"/cryostats/{cryostat.slug}"
    assert cryostat.id is not None
    if cryostat.id not in floor.states:
        what = f"{cryostat.name}: nobody entered its state"
        yield Notice(MISSING, f"state-{cryostat.id}", what, "Enter the state", home, SOON)
    unsaid = [name for name, state in floor.shutters.get(cryostat.id, ()) if state == NOT_RECORDED]
    if unsaid and reach.grade(cryostat.id) >= OPEN:
        what = f"{cryostat.name}: nobody wrote down how {', '.join(unsaid)} stands"
        yield Notice(MISSING, f"shutters-{cryostat.id}", what, "Look, and enter it", f"{home}/change", SOON)


def left_inside(cryostat: Cryostat, rows: Sequence[Inside], reach: Reach) -> Iterator[Notice]:
    """Samples that wait for a steward's yes, or whose owner has gone."""
    address = f"/cryostats/{cryostat.slug}/samples"
    for row in rows if reach.steward else ():
        sample, key = row.sample, f"sample-{row.sample.id}"
        if row.needs_approval:
            what = f"{cryostat.name}: sample {sample.what} is inside and its hazard was not approved"
            yield Notice(MISSING, key, what, "Ask, and approve it or not", address, STOPS)
        elif not row.owner_active:
            what = f"{cryostat.name}: sample {sample.what} of {sample.owner_name}, who has gone"
            yield Notice(MISSING, key, what, "Find who takes it over", address, KNOW)
