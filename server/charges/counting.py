"""What the books say of the bookings of a month: their hours, losses, helpers, what was taken for them.

Its queries grow with the cryostats, never with the bookings.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from sqlmodel import Session, and_, col, or_, select

from server.bookings import fairness, lines, parts, reading, reality, writing
from server.bookings.models import Booking, BookingStep, Occupancy, Party
from server.bookings.reality import CAUSES
from server.charges.rules import HOUR_S, Facts, GivenUp, Loss, Span, overlap_s
from server.cooldowns import entry_kinds, finding
from server.cooldowns import rules as cooldowns
from server.cryostats.models import Cryostat
from server.errors import Refused
from server.stock.models import Item, Movement

GIVEN_UP = ("Cancelled", reality.NOT_BEGUN)
KEPT = (fairness.GIVEN_BACK, parts.PROMISED, reading.LEFT, *GIVEN_UP)
SPENT = "used"


@dataclass(frozen=True)
class Payer:
    """Who pays: a group, or somebody who shares or made a booking for none."""

    group_id: int | None
    person: str


@dataclass(frozen=True)
class Taken:
    """One item that was used for a booking, with its price then known; None: no price."""

    item: Item
    amount: Decimal


@dataclass(frozen=True)
class Told:
    """One booking: what is known of it, who pays which part, what was taken for it, who left it and when."""

    booking: Booking
    facts: Facts
    shares: Mapping[Payer, float]
    taken: Sequence[Taken]
    left: Sequence[tuple[Party, float]]
    """Those who left the shared booking, with the changeover hours that stay with them."""
    ended: datetime


def span(month: str, zone: str) -> Span:
    """The month on the laboratory's calendar; Refused where it is none."""
    try:
        first = date.fromisoformat(f"{month}-01")
        after = date(first.year + first.month // 12, first.month % 12 + 1, 1)
    except ValueError:
        raise Refused("Which month?", {"month": "Enter a month such as 2026-03"}) from None
    return Span(*(datetime(day.year, day.month, 1, tzinfo=ZoneInfo(zone)) for day in (first, after)))


def of_month(session: Session, within: Span, now: datetime) -> list[Told]:
    """Every booking that ended in the month, and before now."""
    rows = _bookings(session, within, now)
    keys = [row.id or 0 for row in rows]
    steps, parties = _steps(session, keys), _parties(session, keys)
    cold = _cold(session, rows, within)
    taken = _taken(session, steps)
    others = _occupied(session, rows)
    return [
        _told(row, steps[row.id or 0], parties[row.id or 0], cold, taken[row.id or 0], others) for row in rows
    ]


def _bookings(session: Session, within: Span, now: datetime) -> Sequence[Booking]:
    last = min(within.ends, now)
    ran = and_(
        col(Booking.state) == writing.BOOKED,
        col(Booking.window_ends) >= within.starts,
        col(Booking.window_ends) < last,
    )
    given_up = and_(
        col(Booking.state).in_((writing.CANCELLED, writing.NO_SHOW)),
        col(Booking.ended_at) >= within.starts,
        col(Booking.ended_at) < last,
    )
    return session.exec(select(Booking).where(or_(ran, given_up)).order_by(col(Booking.id))).all()


def _steps(session: Session, keys: Sequence[int]) -> dict[int, list[BookingStep]]:
    found: dict[int, list[BookingStep]] = defaultdict(list)
    query = select(BookingStep).where(col(BookingStep.booking_id).in_(keys), col(BookingStep.what).in_(KEPT))
    for row in session.exec(query.order_by(col(BookingStep.id))).all():
        found[row.booking_id].append(row)
    return found


def _parties(session: Session, keys: Sequence[int]) -> dict[int, list[Party]]:
    found: dict[int, list[Party]] = defaultdict(list)
    for row in session.exec(
        select(Party).where(col(Party.booking_id).in_(keys)).order_by(col(Party.id))
    ).all():
        found[row.booking_id].append(row)
    return found


def _cold(
    session: Session, rows: Sequence[Booking], within: Span
) -> dict[int, list[tuple[Span, list[Span]]]]:
    """Cryostat → each written cooldown that may matter, with the stretches at base in it."""
    found: dict[int, list[tuple[Span, list[Span]]]] = {}
    for key in {row.cryostat_id for row in rows}:
        bench = session.get(Cryostat, key)
        assert bench is not None
        first = min((row.window_starts or within.starts for row in rows), default=within.starts)
        begun = [
            row
            for row in finding.cooldowns_of(session, key)
            if row.begun_at < within.ends and (row.ended_at is None or row.ended_at > first)
        ]
        sheets = finding.sheets(session, bench, begun) if begun else []
        found[key] = [_stretch(sheet, within.ends) for sheet in sheets]
    return found


def _stretch(sheet: finding.Sheet, last: datetime) -> tuple[Span, list[Span]]:
    cooldown, base = sheet.cooldown, cooldowns.newest(sheet.entries, entry_kinds.BASE)
    ends = cooldown.ended_at or last
    whole = Span(cooldown.begun_at, max(ends, cooldown.begun_at))
    cold_until = cooldown.warming_at or ends
    return whole, [Span(base.at, cold_until)] if base is not None and base.at < cold_until else []


def _taken(session: Session, steps: Mapping[int, Sequence[BookingStep]]) -> dict[int, list[Taken]]:
    of = {
        int(key): row.booking_id
        for rows in steps.values()
        for row in rows
        if row.what == parts.PROMISED
        for key in row.data["reservations"]
    }
    query = (
        select(Movement, Item)
        .join(Item, col(Item.id) == col(Movement.item_id))
        .where(col(Movement.reservation_id).in_(list(of)), Movement.kind == SPENT)
    )
    sums: dict[tuple[int, int], tuple[Item, Decimal]] = {}
    for movement, item in session.exec(query).all() if of else []:
        key = (of[movement.reservation_id or 0], movement.item_id)
        sums[key] = (item, sums.get(key, (item, Decimal(0)))[1] - movement.change)
    found: dict[int, list[Taken]] = defaultdict(list)
    for (booking, _), (item, amount) in sums.items():
        if amount > 0:
            found[booking].append(Taken(item, amount))
    return found


def _occupied(session: Session, rows: Sequence[Booking]) -> list[Occupancy]:
    """What stands where bookings were given up: their cold hours end where somebody takes them."""
    given_up = [row for row in rows if row.state != writing.BOOKED and row.ended_at is not None]
    if not given_up:
        return []
    query = select(Occupancy).where(
        col(Occupancy.cryostat_id).in_({row.cryostat_id for row in given_up}),
        col(Occupancy.ends) > min(row.ended_at for row in given_up if row.ended_at),
        Occupancy.kind == "booking",
    )
    return list(session.exec(query).all())


def _told(
    booking: Booking,
    steps: Sequence[BookingStep],
    parties: Sequence[Party],
    cold: Mapping[int, Sequence[tuple[Span, list[Span]]]],
    taken: Sequence[Taken],
    others: Sequence[Occupancy],
) -> Told:
    gone = {
        row.data["person_id"]: row.data["charge"]["changeover_h"] for row in steps if row.what == reading.LEFT
    }
    stay = [row for row in parties if row.person_id not in gone]
    facts = Facts(
        phases=lines.phases_of(booking) if booking.occupancy_id is not None else (),
        cold=_at_base(booking, cold[booking.cryostat_id]),
        losses=[_loss(row) for row in steps if row.what == fairness.GIVEN_BACK],
        helper=booking.helper_name,
        left_s=round(sum(gone.values()) * HOUR_S),
        given_up=next((_given_up(booking, row, others) for row in steps if row.what in GIVEN_UP), None),
    )
    left = [(row, gone[row.person_id]) for row in parties if row.person_id in gone]
    ended = booking.ended_at or booking.window_ends
    assert ended is not None
    return Told(booking, facts, _shares(booking, stay), taken, left, ended)


def payer(group_id: int | None, person: str) -> Payer:
    """The group where there is one; else the person."""
    return Payer(group_id, "" if group_id else person)


def _shares(booking: Booking, parties: Sequence[Party]) -> dict[Payer, float]:
    if not parties:
        return {payer(booking.group_id, booking.owner_name): 1.0}
    found: dict[Payer, float] = {}
    for row in parties:
        key = payer(row.group_id, row.name)
        found[key] = found.get(key, 0.0) + row.cold_hours
    return found


def _at_base(booking: Booking, cooldowns_told: Sequence[tuple[Span, list[Span]]]) -> list[Span] | None:
    """The stretches at base; None where no cooldown that tells of the window has its base written down."""
    starts, ends = booking.window_starts, booking.window_ends
    if starts is None or ends is None:
        return None
    near = [spans for whole, spans in cooldowns_told if spans and overlap_s(starts, ends, [whole])]
    return [row for spans in near for row in spans] if near else None


def _loss(step: BookingStep) -> Loss:
    words, part = CAUSES[step.data["cause"]]
    free = {1.0: "nothing is charged for them", 0.0: "they stay among the hours charged"}
    said = free.get(part, f"{100 * part:.0f} % of them are not charged")
    lost_s, back_s = (round(step.data[key] * HOUR_S) for key in ("lost_h", "hours"))
    return Loss(str(step.id), lost_s, back_s, f"{words}: {said}. {step.note.partition(': ')[2]}".strip())


def _given_up(booking: Booking, step: BookingStep, others: Sequence[Occupancy]) -> GivenUp | None:
    charge = step.data.get("charge")
    if not charge:
        return None
    cold_s = round(charge["cold_h"] * HOUR_S)
    ends = step.data["before"]["window_ends"]
    if cold_s and ends:
        last = datetime.fromisoformat(ends)
        spans = [
            Span(row.starts, row.ends)
            for row in others
            if row.cryostat_id == booking.cryostat_id and row.id != booking.occupancy_id
        ]
        cold_s = max(cold_s - overlap_s(step.at, last, spans), 0)
    return GivenUp(round(charge["changeover_h"] * HOUR_S), cold_s, charge["why"])
