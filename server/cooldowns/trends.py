"""How long the phases of this cryostat's cooldowns usually take, and where its trends begin anew."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from server.cooldowns import entry_kinds, rules
from server.cooldowns.finding import Sheet, sheets
from server.cooldowns.models import Cooldown, TrendBreak
from server.cooldowns.rules import Usual
from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.cryostats.rules import text_faults
from server.errors import NotFound, Refused
from server.history import service as history

PHASES = {"pump": "Pump", "cool": "Cool to base", "warm": "Warm"}


def durations(session: Session, cryostat_id: int, last: int = rules.LAST) -> dict[str, Usual]:
    """Phase (`pump`, `cool`, `warm`) → how many seconds it usually takes, from the last cooldowns.

    A phase that was never gone through is left out.
    """
    cryostat = session.get(Cryostat, cryostat_id)
    assert cryostat is not None
    query = select(Cooldown).where(Cooldown.cryostat_id == cryostat_id, col(Cooldown.started_at).is_not(None))
    rows = session.exec(query.order_by(col(Cooldown.number).desc()).limit(last)).all()
    found: dict[str, list[float]] = {name: [] for name in PHASES}
    for sheet in reversed(sheets(session, cryostat, rows)):
        for name, took_s in took(sheet).items():
            found[name].append(took_s)
    return {name: band for name, values in found.items() if (band := rules.usual(values)) is not None}


def took(sheet: Sheet) -> dict[str, float]:
    """Phase → how many seconds it took in this cooldown, where that is known."""
    row = sheet.cooldown
    base = next((entry for entry in rules.counting(sheet.entries) if entry.kind == entry_kinds.BASE), None)
    spans = {
        "pump": (row.begun_at, row.started_at),
        "cool": (row.started_at, base.at if base else None),
        "warm": (row.warming_at, row.ended_at),
    }
    return {
        name: (end - begin).total_seconds()
        for name, (begin, end) in spans.items()
        if begin is not None and end is not None and end > begin
    }


ROOM_K = 293.15
"""Where static helium pressures are compared: a closed volume of gas goes with the room."""


def figures(sheet: Sheet) -> dict[str, float]:
    """What a cooldown is compared by with the ones before it, in SI, as far as it was written down."""
    rows = rules.counting(sheet.entries)
    found = dict(took(sheet))
    found |= {
        f"to {level_Pa:g} Pa": took_s
        for level_Pa, took_s in rules.levels_s(sheet.cooldown.begun_at, rows).items()
    }
    found |= {f"{mark.stage} {mark.target}": mark.took_s for mark in rules.marks(sheet.cooldown, rows)}
    for row in rows:
        if row.kind == entry_kinds.RISE:
            found["rise"] = rules.rise_Pa_s(row.data)
        elif row.kind == entry_kinds.HELIUM:
            found["helium"] = row.data["pressure_Pa"] * ROOM_K / row.data.get("room_K", ROOM_K)
        elif row.kind == entry_kinds.WATER:
            found["water"] = row.data["in_K"]
    return found


def usual_before(session: Session, sheet: Sheet) -> dict[str, Usual]:
    """What was usual in the cooldowns before this one, since the last break of the trend."""
    query = select(Cooldown).where(
        Cooldown.cryostat_id == sheet.cryostat.id,
        Cooldown.number < sheet.cooldown.number,
        col(Cooldown.started_at).is_not(None),
    )
    past = [
        row.at for row in breaks(session, sheet.cooldown.cryostat_id) if row.at <= sheet.cooldown.begun_at
    ]
    if past:
        query = query.where(col(Cooldown.begun_at) >= past[-1])
    rows = session.exec(query.order_by(col(Cooldown.number).desc()).limit(rules.LAST)).all()
    found: dict[str, list[float]] = {}
    for before in reversed(sheets(session, sheet.cryostat, rows)):
        for name, value in figures(before).items():
            found.setdefault(name, []).append(value)
    return {name: band for name, values in found.items() if (band := rules.usual(values)) is not None}


def break_trend(
    session: Session, author: history.Author, cryostat_id: int, at: datetime, reason: str, now: datetime
) -> TrendBreak:
    """From `at` on this cryostat is compared with itself anew: a service, a move, another cooler."""
    cryostat = session.get(Cryostat, cryostat_id)
    if cryostat is None:
        raise NotFound("There is no such cryostat.")
    found = text_faults("reason", "the reason", reason, rules.LONGEST_NOTE) | rules.moment_faults(
        "at", at, now
    )
    if not reason.strip():
        found["reason"] = "Enter why the trend breaks here"
    if found:
        raise Refused("The break was not written down.", found)
    row = TrendBreak(
        cryostat_id=cryostat_id,
        at=at,
        reason=reason.strip(),
        recorded_at=now,
        by_name=author.name,
        by_id=author.id,
    )
    session.add(row)
    history.note(session, author, instruments.subject(cryostat), f"The trend breaks: {reason.strip()}", now)
    session.flush()
    return row


def breaks(session: Session, cryostat_id: int) -> Sequence[TrendBreak]:
    """Every break of the trend, oldest first."""
    query = select(TrendBreak).where(TrendBreak.cryostat_id == cryostat_id)
    return session.exec(query.order_by(col(TrendBreak.at), col(TrendBreak.id))).all()
