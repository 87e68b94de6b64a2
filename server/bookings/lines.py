"""The line of a cryostat as the books have it, and what laying needs to know of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Protocol

from sqlmodel import Session, col, select

from server.bookings import configurations, ruling
from server.bookings.configurations import Book
from server.bookings.finding import Block, Line
from server.bookings.laying import Chain, Ground, Kit, Wish
from server.bookings.models import Booking, Hold, Occupancy
from server.bookings.numbers import Numbers
from server.bookings.rules import CLOSE, COOL, PUMP, VENT, WARM_UP, Hours, Phase
from server.bookings.worktime import WorkTime
from server.cooldowns import trends
from server.cryostats import instruments
from server.cryostats.models import Cryostat, StateEntry
from server.openings import service as openings

COLD = {"cold": True, "open": False, "pumping": False, "parked": False}
"""Whether a state says cold; the others leave it open."""
OWN_TIMES = {"vent": VENT, "close": CLOSE, "pump": PUMP, "cool": COOL, "warm": WARM_UP}
"""What openings and cooldowns call a phase, and what it is here. They know one refit, not its classes."""
HOUR = 3600.0


class Learnt(Protocol):
    """What was learnt of one phase, in seconds; no band where it was gone through too rarely."""

    @property
    def median(self) -> float:
        """The usual time."""

    @property
    def low(self) -> float | None:
        """The lower end of the middle 80 in 100."""

    @property
    def high(self) -> float | None:
        """Its upper end."""

    @property
    def count(self) -> int:
        """Of how many."""


@dataclass(frozen=True)
class Desk:
    """All that is looked at when somebody asks for a cryostat."""

    cryostat: Cryostat
    rules: Numbers
    work: WorkTime
    book: Book
    kit: Kit
    line: Line


def replaced(desk: Desk, line: Line) -> Desk:
    """The same desk over another line."""
    return replace(desk, line=line)


def phase_row(row: Phase) -> dict[str, Any]:
    """A phase as it is stored."""
    return {"kind": row.kind, "starts": row.starts.isoformat(), "ends": row.ends.isoformat()}


def phase_rows(chain: Chain) -> list[dict[str, Any]]:
    """A chain as it is stored."""
    return [phase_row(row) for row in chain.phases]


def phases_in(rows: Sequence[dict[str, Any]]) -> tuple[Phase, ...]:
    """Phases as they were stored, in order."""
    return tuple(
        Phase(row["kind"], datetime.fromisoformat(row["starts"]), datetime.fromisoformat(row["ends"]))
        for row in rows
    )


def phases_of(booking: Booking) -> tuple[Phase, ...]:
    """The stored phases of a booking, in order; none where it has no place."""
    return phases_in(booking.phases)


def chain_of(booking: Booking) -> Chain:
    """The stored chain of a booking that has a place."""
    slack = None if booking.slack_h is None else timedelta(hours=booking.slack_h)
    return Chain(phases_of(booking), booking.configuration, booking.change, booking.cold_found, slack)


def wish_of(booking: Booking) -> Wish:
    """What a booking asks for."""
    return Wish(
        configuration=booking.configuration,
        cold=timedelta(hours=booking.cold_hours),
        as_is=booking.want == "as-is",
        any_hour=booking.any_hour,
    )


def desk(session: Session, cryostat: Cryostat, at: datetime) -> Desk:
    """What there is to know for asking for this cryostat."""
    return desks(session, [cryostat], at)[0]


def desks(session: Session, cryostats: Sequence[Cryostat], at: datetime) -> list[Desk]:
    """The same for several, with few questions to the database."""
    rules = ruling.in_force(session, *(row.slug for row in cryostats))
    work = ruling.work_time(session, rules[ruling.LABORATORY])
    states = instruments.states_now(session)
    blocks = _blocks(session, [row.id or 0 for row in cryostats], at)
    found = []
    for row in cryostats:
        book = Book(session, row, rules[row.slug])
        kit = _kit(session, row, rules[row.slug], work, book)
        now = _ground_now(row, states.get(row.id or 0), at)
        found.append(Desk(row, rules[row.slug], work, book, kit, Line(now, blocks.get(row.id or 0, ()))))
    return found


def durations(session: Session, cryostat: Cryostat, rules: Numbers) -> dict[str, Hours]:
    """How long its phases take: its own times, else what the steward set, else the default."""
    found = rules.durations
    assert cryostat.id is not None
    own: dict[str, tuple[Learnt, str]] = {}
    own |= {key: (row, "openings") for key, row in openings.durations(session, cryostat.id).items()}
    own |= {key: (row, "cooldowns") for key, row in trends.durations(session, cryostat.id).items()}
    for name, (row, which) in own.items():
        if name in OWN_TIMES and row.low is not None and row.high is not None:
            hours = (row.median / HOUR, row.low / HOUR, row.high / HOUR)
            found[OWN_TIMES[name]] = Hours(*hours, f"median of its last {row.count} {which}")
    return found


def _kit(session: Session, cryostat: Cryostat, rules: Numbers, work: WorkTime, book: Book) -> Kit:
    return Kit(
        work=work,
        change=book.change,
        durations=durations(session, cryostat, rules),
        delay_h=book.delay_h,
        idle=timedelta(hours=rules.value("idle_h")),
        alone=rules.text("warming") == "alone",
        shutdown=timedelta(hours=rules.value("shutdown_h")),
    )


def _ground_now(cryostat: Cryostat, state: StateEntry | None, at: datetime) -> Ground:
    return Ground(configurations.inside(cryostat), COLD.get(state.state) if state else None, at)


def _blocks(session: Session, keys: Sequence[int], at: datetime) -> dict[int, tuple[Block, ...]]:
    """What stands on each line from `at` on, in order."""
    later = (col(Occupancy.cryostat_id).in_(keys), col(Occupancy.ends) > at)
    bookings = select(Booking, Occupancy).join(Occupancy, col(Occupancy.id) == col(Booking.occupancy_id))
    holds = select(Hold, Occupancy).join(Occupancy, col(Occupancy.id) == col(Hold.occupancy_id))
    found = [_booked(row, place, at) for row, place in session.exec(bookings.where(*later)).all()]
    found += [_held(row, place) for row, place in session.exec(holds.where(*later)).all()]
    by_key: dict[int, list[Block]] = {}
    for key, block in found:
        by_key.setdefault(key, []).append(block)
    return {key: tuple(sorted(rows, key=lambda row: row.starts)) for key, rows in by_key.items()}


def _booked(booking: Booking, place: Occupancy, at: datetime) -> tuple[int, Block]:
    assert booking.id is not None
    chain, begun = chain_of(booking), place.starts <= at
    return booking.cryostat_id, Block(
        booking.id, place.starts, place.ends, wish_of(booking), chain, begun=begun
    )


def _held(hold: Hold, place: Occupancy) -> tuple[int, Block]:
    assert hold.id is not None
    return hold.cryostat_id, Block(hold.id, place.starts, place.ends, kind=hold.kind)
