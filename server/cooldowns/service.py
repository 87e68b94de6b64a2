"""Cooldowns: begun, written down, warmed, ended; found again; how long they take; where a trend breaks."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, func, select

from server.cooldowns import entry_kinds, night_orders, rules
from server.cooldowns.finding import Sheet, cooldowns_of, find, revision_at, under_way
from server.cooldowns.models import Cooldown, CooldownEntry, Expectation
from server.cooldowns.rules import Beginning, Go
from server.cooldowns.trends import break_trend, durations
from server.cryostats import budget, contents, cooldown_estimate, counters, guards, instruments
from server.cryostats.models import BudgetRow, Cryostat
from server.cryostats.rules import OPEN, OPERATE, text_faults
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.people.models import Person
from server.physics.statistics import Band
from server.physics.thermal import document

__all__ = [
    "Beginning",
    "Written",
    "break_trend",
    "cooldowns_of",
    "durations",
    "end",
    "enter",
    "find",
    "locked",
    "prepare",
    "revision_at",
    "start",
    "start_of",
    "step",
    "take_back",
    "under_way",
    "warm",
]
AFTER = {"parked": "parked", "open": "open", "pumping": "closed, pumping", "hold": "hold"}
"""States a cryostat may be in after a cooldown."""


@dataclass(frozen=True)
class Written:
    """An entry as somebody wants it. `faults` are what the reader of the form found already."""

    kind: str
    data: Mapping[str, Any]
    at: datetime | None = None
    note: str = ""
    faults: Mapping[str, str] | None = None


def prepare(
    session: Session, person: Person, slug: str, purpose: str, at: datetime | None, now: datetime
) -> Sheet:
    """A new cooldown from when it is pumped for it, with what is expected of it written down."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    _refuse("The cooldown was not begun.", _purpose_faults(purpose))
    begun_at = at or now
    row = _new(session, person, cryostat, purpose, begun_at, now)
    instruments.enter_state(session, person, cryostat, "pumping", begun_at, f"For cooldown {row.number}", now)
    return find(session, cryostat, row.number)


def _purpose_faults(purpose: str) -> dict[str, str]:
    return text_faults("purpose", "the purpose", purpose, rules.LONGEST_PURPOSE)


def _refuse(message: str, found: Mapping[str, str]) -> None:
    if found:
        raise Refused(message, found)


def _new(
    session: Session, person: Person, cryostat: Cryostat, purpose: str, begun_at: datetime, now: datetime
) -> Cooldown:
    assert cryostat.id is not None
    present = under_way(session, cryostat.id)
    if present is not None:
        raise Conflict(f"Cooldown {present.number} of {cryostat.name} has not ended yet; end that one first.")
    query = select(func.max(Cooldown.number), func.max(Cooldown.ended_at)).where(
        Cooldown.cryostat_id == cryostat.id
    )
    last, ended_at = session.exec(query).one()
    _refuse("The cooldown was not begun.", rules.moment_faults("at", begun_at, now, ended_at))
    row = Cooldown(
        cryostat_id=cryostat.id,
        number=(last or 0) + 1,
        purpose=purpose.strip(),
        begun_at=begun_at,
        recorded_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    _expect(session, person, cryostat, row, begun_at, now)
    _note(session, person, cryostat, f"Cooldown {row.number}: pumping for it. {row.purpose}".strip(), now)
    return row


def _note(session: Session, person: Person, cryostat: Cryostat, line: str, now: datetime) -> None:
    history.note(session, person, instruments.subject(cryostat), line, now)


def _expect(
    session: Session, person: Person, cryostat: Cryostat, row: Cooldown, moment: datetime, now: datetime
) -> None:
    """Write down what is predicted of the configuration at `moment`, unless it stands there already."""
    number = revision_at(session, cryostat, moment)
    query = select(BudgetRow).where(
        BudgetRow.cryostat_id == cryostat.id, BudgetRow.revision == number, col(BudgetRow.at) <= now
    )
    stored = session.exec(query.order_by(col(BudgetRow.id).desc()).limit(1)).first()
    stored = stored or budget.store(session, cryostat, number, now)
    last = session.exec(
        select(Expectation.budget_id)
        .where(Expectation.cooldown_id == row.id)
        .order_by(col(Expectation.id).desc())
        .limit(1)
    ).first()
    if last == stored.id:
        return
    found = document.read_budget(stored.data).temperatures
    assert row.id is not None
    assert stored.id is not None
    line = Expectation(
        cooldown_id=row.id,
        revision=number,
        budget_id=stored.id,
        temperatures_K={stage: _ends(band) for stage, band in found.items()},
        times=_times(session, cryostat, number),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(line)
    session.flush()


def _ends(band: Band) -> list[float | None]:
    return [band.low, band.best, band.high]


def _times(session: Session, cryostat: Cryostat, revision: int) -> dict[str, Any]:
    """When it should be how cold, as it is known now."""
    found = cooldown_estimate.estimate(session, cryostat, contents.elements(session, cryostat, revision))
    rows = [
        {"target_K": row.target_K, "time_s": _ends(row.time_s) if row.time_s else None, "reason": row.reason}
        for row in found.times
    ]
    return {"stage": found.stage, "words": found.words, "rows": rows}


def start(
    session: Session, person: Person, slug: str, wish: Beginning, now: datetime, purpose: str = ""
) -> Sheet:
    """Cooling begins: of the cooldown that is being pumped for, else of a new one.

    Refused without a pressure, and above this cryostat's number without a reason. The cryostat's state
    becomes cooling, and one more cooldown is counted.
    """
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    assert cryostat.id is not None
    at = wish.at or now
    numbers = night_orders.rule_of(session, cryostat.id)
    limit_Pa = numbers.go_Pa if numbers else None
    row = under_way(session, cryostat.id)
    if row is not None and row.started_at is not None:
        raise Conflict(f"Cooldown {row.number} of {cryostat.name} is cooling already.")
    found = rules.go_faults(wish, limit_Pa) | _purpose_faults(purpose)
    found |= rules.moment_faults("at", at, now, row.begun_at if row else None)
    _refuse("Cooling was not written down.", found)
    assert wish.pressure_Pa is not None
    row = row or _new(session, person, cryostat, purpose, at, now)
    _expect(session, person, cryostat, row, at, now)
    row.started_at = at
    session.add(row)
    go = Go(wish.pressure_Pa, limit_Pa)
    data = {"pressure_Pa": go.pressure_Pa, "limit_Pa": limit_Pa, "verdict": go.verdict}
    data |= {"despite": wish.despite.strip()} if wish.despite.strip() else {}
    _write(session, person, row, Written(entry_kinds.COOLING, data, at, wish.note), now)
    instruments.enter_state(session, person, cryostat, "cooling", at, f"Cooldown {row.number}", now)
    counters.count(session, person, cryostat, "cooldowns", at, now)
    return find(session, cryostat, row.number)


def start_of(
    session: Session, person: Person, slug: str, number: int, wish: Beginning, now: datetime
) -> Sheet:
    """Cooling begins, of this cooldown and no other."""
    sheet = locked(session, person, slug, number, OPEN)
    if sheet.cooldown.ended_at is not None:
        raise Conflict(f"Cooldown {number} has ended.")
    return start(session, person, slug, wish, now)


def _write(
    session: Session,
    person: Person,
    row: Cooldown,
    wish: Written,
    now: datetime,
    takes_back: int | None = None,
) -> CooldownEntry:
    assert row.id is not None
    entry = CooldownEntry(
        cooldown_id=row.id,
        kind=wish.kind,
        at=wish.at or now,
        data={name: value for name, value in wish.data.items() if value is not None},
        note=wish.note.strip(),
        takes_back=takes_back,
        recorded_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(entry)
    session.flush()
    return entry


def locked(session: Session, person: Person, slug: str, number: int, grade: int) -> Sheet:
    """One cooldown, while nobody else may write in it; Forbidden below the grade."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, grade)
    return find(session, cryostat, number)


def enter(
    session: Session, person: Person, slug: str, number: int, wish: Written, now: datetime
) -> CooldownEntry:
    """Write something down in a cooldown; with the base the cryostat's state becomes cold."""
    sheet = locked(session, person, slug, number, OPERATE)
    at, row = wish.at or now, sheet.cooldown
    found = dict(wish.faults or {})
    found = found or rules.entry_faults(wish.kind, wish.data, wish.note, row, sheet.cryostat.stages[1:])
    found = found or rules.moment_faults("at", at, now) or rules.span_faults(wish.kind, at, row)
    _refuse("Nothing was written down.", found)
    entry = _write(session, person, row, wish, now)
    if wish.kind == entry_kinds.BASE and sheet.phase == rules.COOLING:
        words = f"Cooldown {row.number}, base"
        instruments.enter_state(session, person, sheet.cryostat, "cold", at, words, now)
    line = f"Cooldown {row.number}: {entry_kinds.label(wish.kind).lower()}"
    _note(session, person, sheet.cryostat, f"{line}. {wish.note.strip()}".rstrip(". ") + ".", now)
    return entry


def step(session: Session, person: Person, sheet: Sheet, wish: Written, now: datetime) -> CooldownEntry:
    """What another part of this room writes in a cooldown it has locked: marks of readings, a cooler."""
    return _write(session, person, sheet.cooldown, wish, now)


def take_back(
    session: Session, person: Person, slug: str, number: int, entry_id: int, reason: str, now: datetime
) -> CooldownEntry:
    """An entry no longer counts, and stays to be seen; by whoever wrote it, or by a steward."""
    sheet = locked(session, person, slug, number, OPERATE)
    entry = next((row for row in sheet.entries if row.id == entry_id), None)
    if entry is None:
        raise NotFound(f"Cooldown {number} has no such entry.")
    if entry.kind not in entry_kinds.KINDS:
        raise Refused("A step of a cooldown stays; write a remark beside it.")
    if entry.by_id != person.id and not person.steward:
        raise Forbidden(f"Only {entry.by_name}, who wrote it, or a steward may take it back.")
    if entry not in rules.counting(sheet.entries):
        raise Conflict("It is taken back already.")
    found = text_faults("reason", "the reason", reason, rules.LONGEST_NOTE)
    if not reason.strip():
        found["reason"] = "Enter why it does not count"
    _refuse("Nothing was taken back.", found)
    _note(session, person, sheet.cryostat, f"Cooldown {number}: an entry taken back. {reason.strip()}", now)
    wish = Written(entry_kinds.TAKEN_BACK, {}, now, reason)
    return _write(session, person, sheet.cooldown, wish, now, takes_back=entry_id)


def warm(
    session: Session, person: Person, slug: str, number: int, wish: Written, now: datetime
) -> CooldownEntry:
    """Warming begins; the cryostat's state becomes warming."""
    sheet = locked(session, person, slug, number, OPEN)
    row, at = sheet.cooldown, wish.at or now
    if row.started_at is None or row.warming_at is not None or row.ended_at is not None:
        raise Conflict(f"Cooldown {number} is {sheet.phase}; warming cannot begin now.")
    found = dict(wish.faults or {}) or rules.data_faults(entry_kinds.WARMED, wish.data, ())
    found |= text_faults("note", "the words", wish.note, rules.LONGEST_NOTE)
    found = found or rules.moment_faults("at", at, now, row.started_at)
    _refuse("Warming was not written down.", found)
    row.warming_at = at
    session.add(row)
    words, own = f"Cooldown {number}", row.by_id == person.id
    instruments.enter_state(session, person, sheet.cryostat, "warming", at, words, now, own=own)
    return _write(session, person, row, Written(entry_kinds.WARMING, wish.data, at, wish.note), now)


def end(
    session: Session,
    person: Person,
    slug: str,
    number: int,
    state: str,
    at: datetime | None,
    note: str,
    now: datetime,
) -> CooldownEntry:
    """The cooldown is over: everything is warm, or it was called off before cooling began."""
    sheet = locked(session, person, slug, number, OPEN)
    row, at = sheet.cooldown, at or now
    if row.ended_at is not None:
        raise Conflict(f"Cooldown {number} has ended already.")
    if row.started_at is not None and row.warming_at is None:
        raise Conflict(f"Cooldown {number} is {sheet.phase}; write down first that warming began.")
    found = text_faults("note", "the words", note, rules.LONGEST_NOTE)
    if state not in AFTER:
        found["state"] = "Choose what state it is in now"
    if row.started_at is None and not note.strip():
        found["note"] = "Enter why it was called off"
    latest = row.warming_at or row.begun_at
    _refuse("The end was not written down.", found | rules.moment_faults("at", at, now, latest))
    row.ended_at = at
    session.add(row)
    instruments.enter_state(session, person, sheet.cryostat, state, at, f"After cooldown {number}", now)
    return _write(session, person, row, Written(entry_kinds.ENDED, {"state": state}, at, note), now)
