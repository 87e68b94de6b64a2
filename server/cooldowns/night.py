"""The night: what is known of a cryostat whose cooling has stopped, whom to call, what was seen and done."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session, col, select

from server.cautions import service as cautions
from server.cautions.models import Card
from server.cooldowns import entry_kinds, night_orders, night_rules, rules, service
from server.cooldowns.finding import Sheet, find, under_way
from server.cooldowns.models import CooldownEntry
from server.cooldowns.night_models import NightRecord
from server.cooldowns.night_rules import Contact, Gas, Rule, Seen
from server.cooldowns.readings_asked import Latest, latest
from server.cooldowns.service import Written
from server.cryostats import guards, instruments
from server.cryostats.models import Cryostat, StateEntry
from server.errors import Refused
from server.history import service as history
from server.people.models import Person

RECENT = timedelta(hours=18)
"""A stop or a pressure older than this belongs to another night."""
FRESH = timedelta(minutes=30)
"""An older pressure is shown with its time, and never held against the rule (our own choice, no source)."""


@dataclass(frozen=True)
class Pressure:
    """The pressure known last, with where from."""

    value_Pa: float
    at: datetime
    words: str


@dataclass(frozen=True)
class Standing:
    """What is known now: state, cooldown, when it stopped, readings and the pressure."""

    state: StateEntry | None
    sheet: Sheet | None
    stopped_at: datetime | None
    pressure: Pressure | None
    readings: tuple[Latest, ...]


@dataclass(frozen=True)
class NightCard:
    """The card of one cryostat for one night."""

    cryostat: Cryostat
    at: datetime
    night: date
    standing: Standing
    rule: Rule
    contacts: tuple[Contact, ...]
    gases: tuple[Gas, ...]
    cautions: Sequence[Card]
    records: Sequence[NightRecord]

    @property
    def donts(self) -> tuple[str, ...]:
        """The three don'ts."""
        return self.rule.numbers.donts if self.rule.numbers else night_rules.USUAL_DONTS

    @property
    def itself(self) -> str:
        """Whether the machine starts by itself."""
        kept = self.rule.numbers.restarts_itself if self.rule.numbers else "not-recorded"
        return night_rules.ITSELF[kept]

    @property
    def stopped_s(self) -> float | None:
        """How long it has stood; None where nobody wrote down when it stopped."""
        stopped_at = self.standing.stopped_at
        return None if stopped_at is None else (self.at - stopped_at).total_seconds()


def card(session: Session, cryostat: Cryostat, zone: str, now: datetime) -> NightCard:
    """Everything the card shows, for the night that is now."""
    assert cryostat.id is not None
    night = night_rules.night_of(now, zone)
    row = night_orders.rule_of(session, cryostat.id)
    here = standing(session, cryostat, now)
    numbers = night_orders.numbers_of(row) if row else None
    stopped_s = (now - here.stopped_at).total_seconds() if here.stopped_at else None
    fresh = here.pressure is not None and here.pressure.at >= now - FRESH
    pressure_Pa = here.pressure.value_Pa if here.pressure and fresh else None
    return NightCard(
        cryostat=cryostat,
        at=now,
        night=night,
        standing=here,
        rule=night_rules.held_against(numbers, pressure_Pa, stopped_s),
        contacts=night_orders.on_call(session, cryostat, night),
        gases=night_rules.gas_by_temperature(),
        cautions=cautions.for_codes(session, night_rules.CAUTIONS),
        records=records(session, cryostat, limit=5),
    )


def standing(session: Session, cryostat: Cryostat, now: datetime) -> Standing:
    """What is known of a cryostat now."""
    assert cryostat.id is not None
    present = under_way(session, cryostat.id)
    sheet = find(session, cryostat, present.number) if present else None
    seen = records(session, cryostat, since=now - RECENT)
    readings = latest(session, cryostat.id, now)
    return Standing(
        state=instruments.state_now(session, cryostat),
        sheet=sheet,
        stopped_at=_stopped_at(sheet, seen, now),
        pressure=_pressure(sheet, seen, readings, now),
        readings=readings,
    )


def _stopped_at(sheet: Sheet | None, seen: Sequence[NightRecord], now: datetime) -> datetime | None:
    stops = [row.stopped_at for row in seen if row.stopped_at is not None]
    entry = rules.newest(sheet.entries, entry_kinds.STOPPED) if sheet else None
    if entry is not None and entry.at >= now - RECENT:
        stops.append(entry.at)
    return max(stops, default=None)


def _pressure(
    sheet: Sheet | None, seen: Sequence[NightRecord], readings: Sequence[Latest], now: datetime
) -> Pressure | None:
    """The newest pressure that is still told to be present: of a gauge, of somebody who looked."""
    found = [
        Pressure(row.value, row.last_at, f"reading of {row.channel.name}")
        for row in readings
        if row.channel.quantity == "pressure" and row.channel.stage in ("", "vessel")
        if row.value is not None and row.last_at is not None
    ]
    found += [
        Pressure(row.pressure_Pa, row.seen_at, f"written down by {row.by_name}")
        for row in seen
        if row.pressure_Pa is not None
    ]
    entries = rules.counting(sheet.entries) if sheet else ()
    found += [_of_entry(row) for row in entries if row.at >= now - RECENT and _tells_pressure(row)]
    return max(found, key=lambda row: row.at, default=None)


def _tells_pressure(row: CooldownEntry) -> bool:
    kinds = (entry_kinds.PRESSURE, entry_kinds.BASE, entry_kinds.STOPPED)
    return row.kind in kinds and "pressure_Pa" in row.data


def _of_entry(row: CooldownEntry) -> Pressure:
    return Pressure(row.data["pressure_Pa"], row.at, f"written down by {row.by_name}")


def records(
    session: Session, cryostat: Cryostat, *, since: datetime | None = None, limit: int = 100
) -> Sequence[NightRecord]:
    """What was written down in nights, newest first."""
    query = select(NightRecord).where(NightRecord.cryostat_id == cryostat.id)
    if since is not None:
        query = query.where(col(NightRecord.seen_at) >= since)
    return session.exec(query.order_by(col(NightRecord.id).desc()).limit(limit)).all()


def write(session: Session, person: Person, slug: str, wish: Seen, now: datetime) -> NightRecord:
    """Keep what somebody saw. Whoever has an account may: at night nobody is turned away.

    The first record that says when it stopped writes that into the cooldown as well.
    """
    cryostat = guards.find(session, slug, lock=True)
    assert cryostat.id is not None
    found = night_rules.seen_faults(wish)
    for name in ("seen_at", "stopped_at"):
        moment = getattr(wish, name)
        if name not in found and moment is not None:
            found |= rules.moment_faults(name, moment, now)
    if found:
        raise Refused("Not written down yet.", found)
    present = under_way(session, cryostat.id)
    row = NightRecord(
        cryostat_id=cryostat.id,
        cooldown_id=present.id if present else None,
        seen_at=wish.seen_at or now,
        seen=wish.seen.strip(),
        stopped_at=wish.stopped_at,
        pressure_Pa=wish.pressure_Pa,
        called=wish.called.strip(),
        left=wish.left.strip(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    history.note(session, person, instruments.subject(cryostat), f"Seen in the night: {row.seen}", now)
    if present is not None and present.started_at is not None and wish.stopped_at is not None:
        _write_stop(session, person, find(session, cryostat, present.number), wish, now)
    session.flush()
    return row


def _write_stop(session: Session, person: Person, sheet: Sheet, wish: Seen, now: datetime) -> None:
    """The stop as an entry of the cooldown, once for a night."""
    last = rules.newest(sheet.entries, entry_kinds.STOPPED)
    if wish.stopped_at is None or (last is not None and abs(last.at - wish.stopped_at) < RECENT):
        return
    data = {"pressure_Pa": wish.pressure_Pa}
    step = Written(entry_kinds.STOPPED, data, wish.stopped_at, "From the record of the night.")
    service.step(session, person, sheet, step, now)
