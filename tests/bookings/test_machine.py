"""Whatever people do with the line of a cryostat, no two have it at once and nobody loses hours unseen."""

import itertools
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import settings
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from sqlmodel import Session, select

from server.bookings import asking, lines, reading, reality, service
from server.bookings.checks import Ask
from server.bookings.holds import Held
from server.bookings.models import Booking, Hold, Occupancy
from server.bookings.rules import WINDOW
from server.bookings.writing import BOOKED, PLACELESS
from server.db import make_engine, writing
from server.errors import Conflict, Problem, Refused
from server.laboratory.service import set_up
from tests.bookings.conftest import NOW, Desk, ask, furnished, hours
from tests.bookings.test_service import BORED
from tests.factories import lid

COLD = st.sampled_from([2.0, 7.5, 20.0, 60.0])
LATER = st.integers(min_value=0, max_value=60)


class Line(RuleBasedStateMachine):
    """Book, move, cancel, overrun, shift, hold, end a hold; time goes on in between."""

    make: Callable[[], Session]

    def __init__(self) -> None:
        super().__init__()
        self.session = self.make()
        set_up(self.session, "Invented laboratory", "Europe/Vienna")
        self.desk: Desk = furnished(self.session)
        self.now = NOW
        self.hours: dict[int, float] = {}
        self.drafts: list[int] = []

    @initialize()
    def draw(self) -> None:
        self.drafts = [self.desk.draft(BORED), self.desk.draft(lid("off"), name="Open")]

    def wish(self, cold: float, which: int) -> Ask:
        return ask(cold) if which == 0 else ask(cold, want="draft", draft_id=self.drafts[which - 1])

    def mine(self, pick: int) -> Booking:
        rows = self.session.exec(select(Booking).where(Booking.state == BOOKED)).all()
        return rows[pick % len(rows)]

    def some(self) -> bool:
        return self.session.exec(select(Booking).where(Booking.state == BOOKED)).first() is not None

    @rule(cold=COLD, which=st.integers(0, 2), number=st.integers(0, 4))
    def take_a_slot(self, cold: float, which: int, number: int) -> None:
        wanted = self.wish(cold, which)
        slots = asking.slots(self.session, self.desk.bench, wanted, self.now)
        if slots:
            window = slots[number % len(slots)].chain.window
            made = service.book(self.session, self.desk.ada, "bench-a", wanted, window.starts, self.now)
            self.hours[made.id or 0] = cold

    @rule(cold=COLD, later=LATER)
    def try_any_time(self, cold: float, later: int) -> None:
        try:
            with self.session.begin_nested():
                starts = self.now + hours(6 * later)
                made = service.book(self.session, self.desk.ada, "bench-a", ask(cold), starts, self.now)
        except (Conflict, Refused):
            return
        self.hours[made.id or 0] = cold

    @precondition(some)
    @rule(pick=LATER, later=LATER)
    def move(self, pick: int, later: int) -> None:
        booking = self.mine(pick)
        try:
            with self.session.begin_nested():
                starts = self.now + hours(5 * later)
                service.move(self.session, self.desk.ada, booking.id or 0, starts, self.now)
        except (Conflict, Refused):
            assert booking.window_ends is not None

    @precondition(some)
    @rule(pick=LATER)
    def cancel(self, pick: int) -> None:
        booking = self.mine(pick)
        try:
            with self.session.begin_nested():
                service.cancel(self.session, self.desk.ada, booking.id or 0, self.now)
        except Conflict:
            return
        del self.hours[booking.id or 0]

    @precondition(some)
    @rule(pick=LATER, longer=st.sampled_from([1.0, 12.0]))
    def overrun(self, pick: int, longer: float) -> None:
        booking = self.mine(pick)
        assert booking.window_ends is not None
        try:
            with self.session.begin_nested():
                until = booking.window_ends + hours(longer)
                reality.extend(self.session, self.desk.ada, booking.id or 0, until, self.now)
        except (Conflict, Refused):
            return
        self.hours[booking.id or 0] += longer

    @precondition(some)
    @rule(pick=LATER, late=st.sampled_from([1.0, 9.0]))
    def shift(self, pick: int, late: float) -> None:
        try:
            with self.session.begin_nested():
                reality.shift(self.session, self.desk.ada, self.mine(pick).id or 0, late, self.now)
        except Problem:
            return

    @rule(later=LATER, length=st.sampled_from([3.0, 30.0]), kind=st.sampled_from(["service", "building"]))
    def hold(self, later: int, length: float, kind: str) -> None:
        begins = self.now + hours(3 * later + 1)
        held = Held(kind, "Service", "It is done", begins, begins + hours(length))
        try:
            with self.session.begin_nested():
                service.hold(self.session, self.desk.ada, "bench-a", held, self.now)
        except Conflict:
            return

    @rule()
    def end_a_hold(self) -> None:
        row = self.session.exec(select(Hold).where(Hold.ended_at == None)).first()  # noqa: E711
        if row is not None:
            service.end_hold(self.session, self.desk.ada, row.id or 0, "Done", self.now)

    @rule(later=st.sampled_from([2, 11, 30]))
    def time_goes_on(self, later: int) -> None:
        self.now += timedelta(hours=later)

    @invariant()
    def no_two_have_it_at_once(self) -> None:
        places = sorted(self.session.exec(select(Occupancy)).all(), key=lambda row: row.starts)
        for left, right in itertools.pairwise(places):
            assert left.ends <= right.starts

    @invariant()
    def no_hours_are_lost_unseen(self) -> None:
        for key, cold in self.hours.items():
            booking = reading.find(self.session, key)
            seen = sum(row.hours for row in lines.phases_of(booking) if row.kind == WINDOW)
            steps = reading.steps(self.session, booking)
            seen += sum(row.data.get("lost_cold_h", 0.0) for row in steps)
            if booking.state in PLACELESS:
                assert booking.cold_hours == pytest.approx(cold)
                assert any(row.what == "Lost its place" for row in steps)
            else:
                assert seen == pytest.approx(cold), (booking.state, [row.what for row in steps])

    @invariant()
    def the_line_is_what_its_bookings_say(self) -> None:
        places = {row.id: row for row in self.session.exec(select(Occupancy)).all()}
        for booking in self.session.exec(select(Booking)).all():
            phases = lines.phases_of(booking)
            if booking.occupancy_id is None:
                continue
            place = places[booking.occupancy_id]
            assert (place.starts, place.ends) == (phases[0].starts, phases[-1].ends)
            for row, following in itertools.pairwise(phases):
                assert row.ends == following.starts

    def teardown(self) -> None:
        self.session.close()


def test_no_overlap_and_no_lost_hours(sqlite_template: Path, tmp_path: Path) -> None:
    import shutil
    from itertools import count

    numbers = count()

    def fresh() -> Session:
        path = tmp_path / f"books{next(numbers)}.db"
        shutil.copy(sqlite_template, path)
        return writing(make_engine(f"sqlite:///{path}"))

    Line.make = staticmethod(fresh)
    run_state_machine_as_test(Line, settings=settings(max_examples=12, stateful_step_count=18, deadline=None))
