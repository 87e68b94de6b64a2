"""Two requests that clash: what each way of settling takes and costs, and the decision with its reason."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session, col, select

from server.bookings import (
    changes,
    configurations,
    finding,
    lines,
    orders,
    reading,
    reality,
    service,
    writing,
)
from server.bookings.laying import Ground, Wish
from server.bookings.lines import Desk
from server.bookings.models import Booking, Decision, Party
from server.bookings.orders import Outcome
from server.bookings.writing import BOOKED, JOINED, PLACELESS
from server.cryostats import drafts, guards
from server.cryostats.drafts import Drawn
from server.cryostats.models import Cryostat
from server.cryostats.rules import LONGEST_REASON, Change, Put, difference, puts_of, text_faults
from server.errors import Conflict, Forbidden, Refused
from server.people.models import Person
from server.physics.statistics import Band

FIRST, SECOND, SHARED = "first-then-second", "second-then-first", "shared"
SHARED_NAME = "shared:0"
NOT_SETTLED = "Nothing was settled."


@dataclass(frozen=True)
class Price:
    """What sharing costs one of them at one stage: alone, shared, and the difference with its own band."""

    stage: str
    alone: Band
    shared: Band
    more_K: Band
    """How much warmer it gets; what is unsure in both alike cancels."""


@dataclass(frozen=True)
class Ways:
    """Every way of settling two requests. `clashing` names elements on which they cannot agree."""

    first: Booking
    second: Booking
    orders: Mapping[str, Outcome]
    shared: Outcome | None
    clashing: Sequence[str]
    prices: Mapping[int, Sequence[Price]]
    work: Sequence[changes.Work]
    """What lies between the two configurations, from the first's to the second's."""
    elements: Mapping[str, Put]

    @property
    def saved_h(self) -> float | None:
        """Hours that sharing saves against the shorter order."""
        if self.shared is None or not self.orders:
            return None
        return min(row.hours for row in self.orders.values()) - self.shared.hours


def ways(session: Session, cryostat: Cryostat, first: int, second: int, now: datetime) -> Ways:
    """What each way of settling these two would take, from when both could begin."""
    rows = _both(session, cryostat, first, second, now)
    desk = lines.desk(session, cryostat, now)
    line = desk.line.without(first).without(second)
    begins = _begins(rows, now)
    ground = _ground_at(line, begins)
    asked = [(row.owner_name, _wish(row, ground.configuration)) for row in rows]
    found = {
        FIRST: orders.in_order(desk.kit, ground, asked, begins),
        SECOND: orders.in_order(desk.kit, ground, asked[::-1], begins),
    }
    inside = desk.book.elements(ground.configuration)
    configs = [desk.book.elements(wish.configuration) for _, wish in asked]
    union = changes.shared(inside, configs)
    desk.book.name(SHARED_NAME, union.elements)
    shared = None
    if not union.clashes:
        shared = orders.together(desk.kit, ground, asked, SHARED_NAME, begins)
    prices = {} if union.clashes else _prices(desk, rows, configs, union.elements)
    return Ways(
        first=rows[0],
        second=rows[1],
        orders={key: row for key, row in found.items() if row is not None},
        shared=shared,
        clashing=union.clashes,
        prices=prices,
        work=desk.book.work(asked[0][1].configuration, asked[1][1].configuration),
        elements=union.elements,
    )


def _both(
    session: Session, cryostat: Cryostat, first: int, second: int, now: datetime
) -> tuple[Booking, Booking]:
    one, other = reading.find(session, first), reading.find(session, second)
    if first == second or {one.cryostat_id, other.cryostat_id} != {cryostat.id}:
        raise Refused(NOT_SETTLED, {"second": f"Choose two different requests for {cryostat.name}"})
    for row in (one, other):
        if row.state not in (BOOKED, *PLACELESS):
            raise Conflict(f"The request of {row.owner_name} is {writing.WORDS[row.state]}.")
        reading.need_not_begun(row, now)
    return one, other


def _begins(rows: Sequence[Booking], now: datetime) -> datetime:
    """When the first of them wants it, not before now."""
    wanted = [lines.phases_of(row)[0].starts if row.phases else row.earliest or now for row in rows]
    return max(now, min(wanted))


def _ground_at(line: finding.Line, begins: datetime) -> Ground:
    left = sum(1 for row in line.blocks if row.starts <= begins)
    return line.ground_before(left)


def _wish(row: Booking, found: str) -> Wish:
    """What is to be laid; whoever takes it as it is, here takes what is found."""
    configuration = found if row.want == "as-is" else row.configuration
    return Wish(configuration, timedelta(hours=row.cold_hours), any_hour=row.any_hour)


def _prices(
    desk: Desk, rows: Sequence[Booking], configs: Sequence[Mapping[str, Put]], union: Mapping[str, Put]
) -> dict[int, list[Price]]:
    shared = configurations.predicted(desk.book, union).budget.temperatures
    found: dict[int, list[Price]] = {}
    for row, elements in zip(rows, configs, strict=True):
        alone = configurations.predicted(desk.book, elements).budget.temperatures
        more_K = configurations.shifts_K(desk.book, elements, union)
        stages = [stage for stage in desk.cryostat.stages if stage in more_K]
        found[row.id or 0] = [Price(name, alone[name], shared[name], more_K[name]) for name in stages]
    return found


def shown(found: Ways) -> dict[str, Any]:
    """The numbers a decision was made on, as they are kept."""
    outcomes = {key: row for key, row in {**found.orders, SHARED: found.shared}.items() if row is not None}
    return {
        "hours": {key: round(row.hours, 2) for key, row in outcomes.items()},
        "ends": {key: row.ends.isoformat() for key, row in outcomes.items()},
        "slack_h": {key: row.slack_h for key, row in outcomes.items()},
        "saved_h": found.saved_h,
        "more_K": {
            str(key): {
                price.stage: [price.more_K.low, price.more_K.best, price.more_K.high] for price in rows
            }
            for key, rows in found.prices.items()
        },
    }


@dataclass(frozen=True)
class Choice:
    """How a steward settles it."""

    first: int
    second: int
    what: str
    reason: str


def decide(session: Session, person: Person, slug: str, choice: Choice, now: datetime) -> Decision:
    """Settle two requests; their places are given up and taken anew, both are told, the reason is kept."""
    if not person.steward:
        raise Forbidden("Only a steward settles a clash.")
    cryostat = guards.find(session, slug, lock=True)
    found = text_faults("reason", "the reason", choice.reason, LONGEST_REASON)
    if choice.what not in (FIRST, SECOND, SHARED):
        found["choice"] = "Choose one of the ways"
    if not choice.reason.strip():
        found["reason"] = "Enter the reason in one line"
    if found:
        raise Refused(NOT_SETTLED, found)
    both = ways(session, cryostat, choice.first, choice.second, now)
    if choice.what == SHARED:
        _share(session, person, cryostat, both, choice.reason.strip(), now)
    else:
        rows = (both.first, both.second) if choice.what == FIRST else (both.second, both.first)
        _order(session, person, cryostat, rows, choice.reason.strip(), now)
    return _keep(session, person, cryostat, choice, both, now)


def _keep(
    session: Session, person: Person, cryostat: Cryostat, choice: Choice, both: Ways, now: datetime
) -> Decision:
    assert cryostat.id is not None
    row = Decision(
        cryostat_id=cryostat.id,
        first_id=choice.first,
        second_id=choice.second,
        choice=choice.what,
        reason=choice.reason.strip(),
        shown=shown(both),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def _free(session: Session, rows: Sequence[Booking]) -> None:
    writing.give_up(session, rows)
    for row in rows:
        row.state, row.phases, row.window_starts, row.window_ends = writing.WAITING, [], None, None
        session.add(row)
    session.flush()


def _order(
    session: Session, person: Person, cryostat: Cryostat, rows: Sequence[Booking], why: str, now: datetime
) -> None:
    begins = _begins(rows, now)
    _free(session, rows)
    for row in rows:
        begins = _place(session, person, cryostat, row, begins, why, now)
    writing.settle(session, person, lines.desk(session, cryostat, now), now, "two requests were settled")


def _place(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    row: Booking,
    begins: datetime,
    why: str,
    now: datetime,
) -> datetime:
    """Give a request the first place from a moment on; when it ends."""
    desk = lines.desk(session, cryostat, now)
    configuration = "" if row.want == "as-is" else row.configuration
    wish = Wish(configuration, timedelta(hours=row.cold_hours), row.want == "as-is", row.any_hour)
    last = now + timedelta(weeks=desk.rules.value("farthest_weeks"))
    slot = finding.next_free(desk.kit, desk.line, wish, begins, last)
    if slot is None:
        raise Conflict(f"There is no place for the request of {row.owner_name} in the weeks ahead.")
    row.override = row.override or why
    service.take(session, person, desk, row, slot.chain, now, "Placed by the steward", why)
    return slot.chain.ends


def _share(session: Session, person: Person, cryostat: Cryostat, both: Ways, why: str, now: datetime) -> None:
    """One booking with two parties; each must say yes to the shared draft before it is frozen."""
    if both.shared is None:
        raise Conflict("They cannot share: they want the same element differently.")
    rows = (both.first, both.second)
    begins = _begins(rows, now)
    _free(session, rows)
    host, guest = rows
    for row in rows:
        _party(session, host, row)
    host.cold_hours = host.cold_hours + guest.cold_hours
    _draw(session, person, cryostat, both, host, now)
    guest.state, guest.joined_id, guest.altered_at = JOINED, host.id, now
    session.add_all((host, guest))
    session.flush()
    _place(session, person, cryostat, host, begins, why, now)
    writing.step(session, person, guest, "Joined", now, f"Shares booking {host.id}. {why}")
    writing.tell(session, guest, f"Your request shares booking {host.id} now: {why}", now, person.id)
    writing.settle(session, person, lines.desk(session, cryostat, now), now, "two requests were settled")


def _party(session: Session, host: Booking, row: Booking) -> None:
    assert host.id is not None
    session.add(
        Party(
            booking_id=host.id,
            person_id=row.owner_id,
            name=row.owner_name,
            group_id=row.group_id,
            group_name=row.group_name,
            cold_hours=row.cold_hours,
        )
    )


def _draw(
    session: Session, person: Person, cryostat: Cryostat, both: Ways, host: Booking, now: datetime
) -> None:
    """Draw what serves both; where nothing differs from what is inside, it is taken as it is."""
    book = lines.desk(session, cryostat, now).book
    between = difference(book.elements(configurations.inside(cryostat)), both.elements)
    if between.empty:
        host.want, host.draft_id, host.configuration = "as-is", None, configurations.inside(cryostat)
        return
    names = f"{both.first.owner_name} and {both.second.owner_name}"
    change = Change(
        f"Shared by {names}", cryostat.revision, puts_of(between), tuple(put.key for put in between.taken)
    )
    parties = (both.first.owner_id, both.second.owner_id)
    sheet = drafts.make(session, person, cryostat.slug, Drawn(f"Shared: {names}"[:80], change, parties), now)
    host.want, host.draft_id = "draft", sheet.draft.id
    host.configuration = configurations.of_draft(sheet.draft.id or 0)


def leave(session: Session, person: Person, number: int, now: datetime) -> Booking:
    """Leave a shared booking; once frozen, half of the changeover stays with whoever left."""
    booking = reading.find(session, number, lock=True)
    reading.need_place(booking)
    reading.need_not_begun(booking, now)
    parties = reading.parties(session, booking)
    mine = next((row for row in parties if row.person_id == person.id), None)
    if mine is None or mine.person_id == booking.owner_id:
        raise Forbidden("Only somebody who shares it leaves it; its owner cancels it.")
    desk = reading.desk_of(session, booking, now)
    charge = service.charge_of(desk, booking, now)
    part = charge.changeover_h / 2 if charge and booking.frozen_at is not None else 0.0
    data = {"person_id": person.id, "charge": {"changeover_h": part, "cold_h": 0.0, "why": "half of it"}}
    before = writing.plan_of(booking)
    # By parts: the window may have been shortened or extended since each brought their hours.
    brought = sum(row.cold_hours for row in parties)
    booking.cold_hours *= (brought - mine.cold_hours) / brought
    chain = lines.chain_of(booking)
    assert booking.id is not None
    shorter = reality.ends_at(desk, booking, chain.window.starts + timedelta(hours=booking.cold_hours))
    writing.place(session, {booking.id: shorter}, now, {booking.id: booking})
    writing.step(session, person, booking, reading.LEFT, now, person.name, data | {"before": before})
    writing.tell(session, booking, f"{person.name} left the shared booking.", now, person.id)
    writing.let_guests_go(session, person, booking, now, "its owner left the shared booking", person.id)
    writing.settle(session, person, desk, now, "the booking before it became shorter")
    return booking


def decisions(session: Session, cryostat: Cryostat) -> Sequence[Decision]:
    """How clashes were settled here, newest first."""
    query = select(Decision).where(Decision.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(Decision.id).desc()).limit(50)).all()
