"""Holds go in first, tell who gives way, and end on a condition. The rules are common practice, no source."""

from datetime import timedelta

import pytest
import sqlalchemy as sa
from sqlmodel import select

from server.bookings import holds, lines, reading, service
from server.bookings.holds import Held
from server.bookings.models import Hold, Occupancy
from server.bookings.rules import COOL
from server.errors import Conflict, Forbidden, NotFound, Refused
from tests.bookings.conftest import NOW, Desk, ask, hours
from tests.bookings.test_service import BORED, told


def held(starts_h: float = 0, length_h: float = 24, kind: str = "fault", **more: object) -> Held:
    begins = NOW + hours(starts_h)
    return Held(kind, "The cooler stopped", "It cools again", begins, begins + hours(length_h), **more)  # type: ignore[arg-type]


def test_a_hold_displaces_who_is_in_its_way_and_tells_them(desk: Desk) -> None:
    booking = desk.book(ask(10), at=NOW)
    far = service.book(desk.session, desk.ben, "bench-a", ask(5), NOW + timedelta(days=10), NOW)
    service.move(desk.session, desk.ben, booking.id or 0, NOW + hours(30), NOW - hours(1))
    service.hold(desk.session, desk.ada, "bench-a", held(25, 24), NOW)
    assert (booking.state, booking.occupancy_id) == ("displaced", None)
    assert booking.cold_hours == 10
    assert far.state == "booked"
    assert any("lost its place" in line for line in told(desk, desk.ben.id))
    assert [row.id for row in reading.placeless(desk.session, desk.bench)] == [booking.id]


def test_a_running_booking_is_cut_where_the_hold_begins_and_its_lost_hours_are_kept(
    desk: Desk,
) -> None:
    booking = desk.book(ask(10))
    service.hold(desk.session, desk.ben, "bench-a", held(4), NOW + hours(5))
    step = reading.steps(desk.session, booking)[-1]
    assert step.what == "Cut short by a hold"
    assert step.data["lost_cold_h"] == pytest.approx(6 + 20 / 60)
    assert lines.phases_of(booking)[-1].ends == NOW + hours(4)


def test_after_a_hold_nobody_knows_whether_it_is_cold_so_room_is_kept(desk: Desk) -> None:
    service.hold(desk.session, desk.ada, "bench-a", held(0, 24), NOW)
    booking = desk.book(ask(10))
    assert booking.cold_found is None
    assert any(row.kind == COOL for row in lines.phases_of(booking))


def test_a_hold_ends_when_its_condition_is_met_and_frees_the_time(desk: Desk) -> None:
    row = service.hold(desk.session, desk.ada, "bench-a", held(0, 48), NOW)
    waiting = service.wait(desk.session, desk.cleo, "bench-a", ask(3), NOW)
    with pytest.raises(Refused) as refused:
        service.end_hold(desk.session, desk.ada, row.id or 0, " ", NOW + hours(5))
    assert "It cools again" in refused.value.fields["note"]
    service.end_hold(desk.session, desk.ada, row.id or 0, "Cold since noon", NOW + hours(5))
    assert row.ends == NOW + hours(5)
    assert any("A hold on Bench A ended" in line for line in told(desk, waiting.owner_id))
    with pytest.raises(Conflict):
        service.end_hold(desk.session, desk.ada, row.id or 0, "Again", NOW + hours(6))
    assert desk.book(ask(3), at=NOW + hours(5)).window_starts is not None


def test_a_hold_is_prolonged_the_same_way(desk: Desk) -> None:
    row = service.hold(desk.session, desk.ada, "bench-a", held(0, 24), NOW)
    booking = desk.book(ask(10))
    holds.prolong(
        desk.session, desk.ada, row.id or 0, NOW + timedelta(days=4), "The part is late", NOW + hours(2)
    )
    assert booking.state == "displaced"
    assert row.ends == NOW + timedelta(days=4)
    with pytest.raises(Refused):
        holds.prolong(desk.session, desk.ada, row.id or 0, NOW + hours(1), "", NOW + hours(2))


def test_two_holds_do_not_stand_in_one_place(desk: Desk) -> None:
    service.hold(desk.session, desk.ada, "bench-a", held(0, 24), NOW)
    with pytest.raises(Conflict, match="Another hold"):
        service.hold(desk.session, desk.ada, "bench-a", held(5, 24), NOW)


def test_a_soft_hold_takes_no_time_and_warns(desk: Desk) -> None:
    booking = desk.book(ask(10))
    row = service.hold(desk.session, desk.ada, "bench-a", held(2, 4, "service", soft=True), NOW)
    assert row.occupancy_id is None
    assert booking.state == "booked"
    assert any("will fall due" in line for line in told(desk, desk.ben.id))


def test_no_cooling_begins_within_a_day_of_a_shutdown(desk: Desk) -> None:
    wanted = ask(2, want="draft", draft_id=desk.draft(BORED))
    service.hold(desk.session, desk.ada, "bench-a", held(36, 24, "building"), NOW)
    booking = desk.book(wanted)
    assert lines.phases_of(booking)[0].starts >= NOW + hours(60)


def test_who_may_place_which_hold(desk: Desk) -> None:
    service.hold(desk.session, desk.cleo, "bench-a", held(0, 2, "safety"), NOW)
    for kind in ("service", "building"):
        with pytest.raises(Forbidden):
            service.hold(desk.session, desk.ben, "bench-a", held(30, 2, kind), NOW)


def test_a_bad_hold_says_what_to_mend(desk: Desk) -> None:
    begins = NOW + hours(1)
    for wrong, field in (
        (Held("fault", "", "x", begins, begins + hours(1)), "reason"),
        (Held("fault", "x", "", begins, begins + hours(1)), "condition"),
        (Held("fault", "x", "x", begins, begins), "ends"),
        (Held("fault", "x", "x", begins, begins + timedelta(days=500)), "ends"),
    ):
        with pytest.raises(Refused) as refused:
            service.hold(desk.session, desk.ada, "bench-a", wrong, NOW)
        assert field in refused.value.fields
    with pytest.raises(NotFound):
        holds.find(desk.session, 2**40)


def test_the_database_itself_refuses_two_at_once(desk: Desk) -> None:
    booking = desk.book(ask(10))
    place = desk.session.get(Occupancy, booking.occupancy_id)
    assert place is not None
    desk.session.commit()
    inside = {"cryostat_id": place.cryostat_id, "kind": "hold", "starts": place.starts + hours(1)}
    with pytest.raises(sa.exc.IntegrityError):
        desk.session.execute(sa.insert(Occupancy).values(**inside, ends=place.ends + hours(1)))
    desk.session.rollback()
    touching = {**inside, "starts": place.ends}
    desk.session.execute(sa.insert(Occupancy).values(**touching, ends=place.ends + hours(1)))
    with pytest.raises(sa.exc.IntegrityError):
        desk.session.execute(
            sa.update(Occupancy).where(sa.column("kind") == "hold").values(starts=place.starts + hours(1))
        )
    desk.session.rollback()
    assert desk.session.exec(select(Hold)).all() == []
