"""Tasks of a bench: due from its use, done, put off, back in service by a measurement; on both engines."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import sqlalchemy as sa
from sqlmodel import Session, select

from server.bookings.models import Hold
from server.cooldowns.models import Cooldown, CooldownEntry, TrendBreak
from server.cryostats import counters
from server.cryostats.counters import Shown
from server.cryostats.models import Cryostat
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.history import service as history
from server.laboratory.service import set_up
from server.maintenance import service, starter, tasks, use
from server.maintenance.models import Task, TaskEntry
from server.maintenance.rules import Done
from server.maintenance.service import Deferral, Stretch
from server.maintenance.tasks import Wanted
from server.people.models import Person
from server.people.service import CommandLine
from server.stock import moving
from server.stock import service as stock
from server.stock import starter as stores
from server.stock.models import Item
from server.stock.moving import Receipt
from tests.factories import a_cryostat, somebody

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
WEEK = timedelta(weeks=1)
ADSORBER = Wanted(
    name="Change the adsorber",
    limits={"compressor_hours": 20000, "days": 3650},
    last_done=NOW - timedelta(days=1200),
    lead_days=56,
    stops_work=True,
    return_stage="platform",
    return_K=3.2,
    return_within_K=0.1,
    return_name="cooldown 112",
)


@pytest.fixture
def ada(session: Session) -> Person:
    """A steward, in a laboratory that is set up."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    return somebody(session)


@pytest.fixture
def bench(session: Session, ada: Person) -> Cryostat:
    """A bench whose compressor ran 118 h a week for eight weeks and stands at 19,100 h."""
    made = a_cryostat(session)
    for week in range(9):
        at = NOW - (8 - week) * WEEK
        counters.read(session, ada, made, Shown("compressor_hours", 19100 - 118.0 * (8 - week), at), at)
    return made


def test_nineteen_thousand_hours_at_118_a_week_are_due_in_seven_and_a_half_weeks(
    session: Session, ada: Person, bench: Cryostat
) -> None:
    """900 h at 118 h a week are 7.63 weeks, by hand; eight weeks ahead was last week."""
    tasks.make(session, ada, bench.slug, ADSORBER, NOW)
    found = service.due(session, NOW)[0]
    assert found.dates.likely is not None
    assert (found.dates.likely - NOW) / WEEK == pytest.approx(900 / 118, abs=0.01)
    assert found.state == "soon"
    assert "19 100 of 20 000 h" in found.why
    assert found.order_by is not None
    assert found.order_by < NOW.date()
    assert "the day for it was 22 Nov 2026" in found.next_step
    inside = service.due_between(session, bench.id or 0, NOW + 7 * WEEK, NOW + 9 * WEEK, NOW)
    assert [row.task.id for row in inside] == [found.task.id]
    assert not service.due_between(session, bench.id or 0, NOW + WEEK, NOW + 2 * WEEK, NOW)


def test_a_part_that_is_missing_is_to_be_ordered_by_its_lead_time(
    session: Session, ada: Person, bench: Cryostat
) -> None:
    stores.lay_out(session, CommandLine(), ["vacuum-grease"], NOW)
    item = session.exec(select(Item)).one()
    item.lead_days = 60
    parts = [{"item": "vacuum-grease", "amount": 20.0}]
    wanted = Wanted(name="Grease", kind="seal", limits={"days": 70}, last_done=NOW, parts=parts)
    row = tasks.make(session, ada, bench.slug, wanted, NOW)
    found = service.due(session, NOW)[0]
    assert found.order_by == (NOW + timedelta(days=10)).date()
    assert found.next_step.startswith("Order ")
    moving.receive(session, CommandLine(), Receipt(item.id or 0, Decimal(50)), NOW)
    assert service.due(session, NOW)[0].order_by is None
    event = Done(NOW, "Greased", ("days",), used={"vacuum-grease": 20.0})
    service.done(session, ada, bench.slug, row.id or 0, event, NOW)
    assert stock.amounts(session)[item.id or 0].on_hand == Decimal(30)


def test_an_event_sets_back_only_the_clocks_it_names(session: Session, ada: Person, bench: Cryostat) -> None:
    row = tasks.make(session, ada, bench.slug, ADSORBER, NOW)
    other = tasks.make(
        session, ada, bench.slug, Wanted(name="Other", limits={"compressor_hours": 20000}), NOW
    )
    before, others = dict(row.marks), dict(other.marks)
    event = Done(NOW, "Changed", ("compressor_hours",), {"serial_in": "B-2"}, 3.0, 1.1e5)
    written = service.done(session, ada, bench.slug, row.id or 0, event, NOW)
    assert row.marks["compressor_hours"] == {"from": 19100.0}
    assert row.marks["days"] == before["days"]
    assert other.marks == others
    assert written.data["found"] == {"serial_in": "B-2"}
    assert written.data["helium_Pa"] == 1.1e5
    assert "Changed" in history.of(session, f"cryostat/{bench.slug}")[0].what
    assert session.exec(select(TrendBreak)).one().reason == "Serviced: Change the adsorber"
    with pytest.raises(Refused) as refused:
        service.done(session, ada, bench.slug, row.id or 0, Done(NOW, "", ()), NOW)
    assert set(refused.value.fields) == {"text", "resets"}


def test_a_meter_that_was_replaced_carries_the_clock_on(
    session: Session, ada: Person, bench: Cryostat
) -> None:
    later = NOW + WEEK
    counters.read(session, ada, bench, Shown("compressor_hours", 10.0, later, replaced=True), later)
    last = later + WEEK
    counters.read(session, ada, bench, Shown("compressor_hours", 128.0, last), last)
    found = use.uses(session, [bench.id or 0], last)[bench.id or 0]["compressor_hours"]
    assert found.total == counters.value(session, bench, "compressor_hours") == 19100 + 128.0
    assert list(found.readings) == sorted(found.readings)


def test_what_is_counted_adds_up_as_the_counters_say(session: Session, ada: Person, bench: Cryostat) -> None:
    at = NOW - 20 * WEEK
    counters.count(session, ada, bench, "openings", at, at)
    counters.read(session, ada, bench, Shown("openings", 140.0, at + WEEK), at + WEEK)
    for week in range(3, 14):
        counters.count(session, ada, bench, "openings", at + week * WEEK, at + week * WEEK)
    found = use.uses(session, [bench.id or 0], NOW)[bench.id or 0]["openings"]
    assert found.total == counters.value(session, bench, "openings") == 151
    assert found.counted == 2


def test_putting_off_needs_a_name_a_reason_a_limit_and_says_how_often(
    session: Session, ada: Person, bench: Cryostat
) -> None:
    row = tasks.make(session, ada, bench.slug, ADSORBER, NOW)
    number = row.id or 0
    wish = Deferral("compressor_hours", 20300.0, "The run ends first")
    written = service.defer(session, ada, bench.slug, number, wish, NOW)
    assert (written.by_name, written.data["instead_of"], written.data["times"]) == ("Ada", 20000.0, 1)
    with pytest.raises(Refused) as again:
        service.defer(session, ada, bench.slug, number, Deferral("compressor_hours", 20600.0, "Again"), NOW)
    assert "times" in again.value.fields
    with pytest.raises(Refused) as earlier:
        service.defer(
            session, ada, bench.slug, number, Deferral("compressor_hours", 20100.0, "Again", 1), NOW
        )
    assert "limit" in earlier.value.fields
    service.done(session, ada, bench.slug, number, Done(NOW, "Changed", ("compressor_hours",)), NOW)
    assert row.marks["compressor_hours"] == {"from": 19100.0}


def test_only_a_measurement_brings_it_back_and_ends_the_hold(
    session: Session, ada: Person, bench: Cryostat
) -> None:
    row = tasks.make(session, ada, bench.slug, ADSORBER, NOW)
    number, cryostat_id = row.id or 0, bench.id or 0
    span = Stretch(NOW + timedelta(hours=1), NOW + timedelta(days=2))
    held = service.hold(session, ada, bench.slug, number, span, NOW)
    assert "within 0.1 K of 3.2 K (cooldown 112)" in held.condition
    service.done(session, ada, bench.slug, number, Done(NOW, "Changed", ("compressor_hours",)), NOW)
    assert service.due(session, NOW + 52 * WEEK)[0].state == "return"
    with pytest.raises(Refused):
        service.returned(session, ada, bench.slug, number, 1, NOW)
    _cooldown(session, cryostat_id, 1, NOW - WEEK, 3.21)
    _cooldown(session, cryostat_id, 2, NOW + timedelta(days=1), 3.35)
    for bad in (1, 2):
        with pytest.raises(Refused) as refused:
            service.returned(session, ada, bench.slug, number, bad, NOW + WEEK)
        assert "cooldown" in refused.value.fields
    _cooldown(session, cryostat_id, 3, NOW + timedelta(days=3), 3.27)
    service.returned(session, ada, bench.slug, number, 3, NOW + WEEK)
    assert "return" not in row.marks
    ended = session.get(Hold, held.id)
    assert ended is not None
    assert ended.ended_at == NOW + WEEK
    with pytest.raises(Conflict):
        service.returned(session, ada, bench.slug, number, 3, NOW + WEEK)


def _cooldown(session: Session, cryostat_id: int, number: int, at: datetime, platform_K: float) -> None:
    kept: dict[str, Any] = {"recorded_at": at, "by_name": "Ada"}
    row = Cooldown(
        cryostat_id=cryostat_id, number=number, begun_at=at, started_at=at, ended_at=at + WEEK / 7, **kept
    )
    session.add(row)
    session.flush()
    data = {"platform_K": platform_K, "heater": "off", "settled": "yes"}
    session.add(CooldownEntry(cooldown_id=row.id or 0, kind="base", at=at + WEEK / 8, data=data, **kept))
    session.flush()


def test_who_may_not_is_refused_and_what_was_written_cannot_be_rewritten(
    session: Session, ada: Person, bench: Cryostat
) -> None:
    row = tasks.make(session, ada, bench.slug, ADSORBER, NOW)
    ben = somebody(session, "ben", steward=False)
    for work in (
        lambda: tasks.make(session, ben, bench.slug, ADSORBER, NOW),
        lambda: service.done(session, ben, bench.slug, row.id or 0, Done(NOW, "x", ("days",)), NOW),
        lambda: service.defer(session, ben, bench.slug, row.id or 0, Deferral("days", 9e9, "x"), NOW),
    ):
        with pytest.raises(Forbidden):
            work()
    with pytest.raises(NotFound):
        tasks.find(session, bench.slug, 2**40)
    service.done(session, ada, bench.slug, row.id or 0, Done(NOW, "Changed", ("days",)), NOW)
    with pytest.raises(sa.exc.DBAPIError, match="append-only"), session.begin_nested():
        session.execute(sa.update(TaskEntry).values(text="never"))


def test_the_first_set_is_laid_out_once(session: Session, ada: Person, bench: Cryostat) -> None:
    keys = list(starter.STARTER)
    assert len(starter.lay_out(session, ada, bench.slug, keys, NOW)) == len(keys)
    assert not starter.lay_out(session, ada, bench.slug, keys, NOW)
    assert len(session.exec(select(Task)).all()) == len(keys)
    assert len(service.due(session, NOW)) == len(keys)
