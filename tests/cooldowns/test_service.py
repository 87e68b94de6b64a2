"""Cooldowns on both engines: begun, written down, warmed and ended; what is refused; what nobody rewrites."""

from datetime import timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session, select

from server.cooldowns import finding, night_orders, residual, rules, service
from server.cooldowns.models import Cooldown
from server.cooldowns.night_rules import Numbers
from server.cooldowns.service import Beginning, Written
from server.cryostats import budget, counters, instruments
from server.cryostats import service as cryostats
from server.cryostats.models import BudgetRow, Cryostat
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.laboratory.service import set_up
from server.people.models import Person
from server.people.service import CommandLine
from tests.cooldowns.telling import AT_BASE, BEGUN, HOUR, begun, whole, wrote
from tests.factories import AT, a_cooler, a_cryostat, change, lid, logged, somebody, wire

Books = tuple[Session, Person, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, Ben who opens, and a cryostat with cooler, loom and lid at revision 1."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    bench = a_cryostat(session)
    instruments.give_grade(session, CommandLine(), bench, ben, 2, AT)
    a_cooler(session, bench)
    logged(session, ada, bench, wire(), lid())
    return session, ada, ben, bench


def state(session: Session, bench: Cryostat) -> str:
    found = instruments.state_now(session, bench)
    return found.state if found else ""


def test_a_cooldown_goes_its_way_and_the_state_goes_with_it(books: Books) -> None:
    session, _, ben, bench = books
    service.prepare(session, ben, bench.slug, "Transport runs", BEGUN - HOUR, BEGUN)
    assert state(session, bench) == "pumping"
    sheet = begun(session, ben, bench)
    assert (sheet.cooldown.number, sheet.phase, state(session, bench)) == (1, "cooling", "cooling")
    wrote(session, ben, sheet, "base", AT_BASE, BEGUN + 5 * HOUR)
    assert (service.find(session, bench, 1).phase, state(session, bench)) == ("cold", "cold")
    at = BEGUN + 30 * HOUR
    service.warm(session, ben, bench.slug, 1, Written("", {"method": "by itself"}, at), at)
    assert (service.find(session, bench, 1).phase, state(session, bench)) == ("warming", "warming")
    service.end(session, ben, bench.slug, 1, "open", at + HOUR, "", at + HOUR)
    assert (service.find(session, bench, 1).phase, state(session, bench)) == ("over", "open")


def test_numbers_follow_each_other_and_are_never_used_again(books: Books) -> None:
    session, ada, _, bench = books
    service.prepare(session, ada, bench.slug, "", BEGUN, BEGUN)
    service.end(session, ada, bench.slug, 1, "open", BEGUN + HOUR, "A hair on the ring", BEGUN + HOUR)
    assert service.find(session, bench, 1).phase == "called off"
    assert begun(session, ada, bench, BEGUN + 2 * HOUR).cooldown.number == 2


def test_one_more_cooldown_is_counted_where_cooling_began(books: Books) -> None:
    session, ada, _, bench = books
    service.prepare(session, ada, bench.slug, "", BEGUN, BEGUN)
    assert counters.value(session, bench, "cooldowns") == 0.0
    begun(session, ada, bench, BEGUN + HOUR)
    assert counters.value(session, bench, "cooldowns") == 1.0


def test_what_was_expected_is_the_stored_budget_of_the_revision_it_began_with(books: Books) -> None:
    session, ada, _, bench = books
    sheet = begun(session, ada, bench)
    stored = session.get(BudgetRow, sheet.expectation.budget_id)
    assert stored is not None
    assert sheet.expectation.revision == stored.revision == 1
    assert sheet.expected_K == budget.of_revision(session, bench, 1).budget.temperatures


def test_a_change_while_pumping_makes_a_new_expectation_and_the_first_stays(books: Books) -> None:
    session, ada, _, bench = books
    service.prepare(session, ada, bench.slug, "", BEGUN, BEGUN)
    wanted = change(1, wire(count=12), done_at=BEGUN + HOUR)
    cryostats.log_change(session, ada, bench.slug, wanted, BEGUN + HOUR)
    sheet = begun(session, ada, bench, BEGUN + 2 * HOUR)
    assert [row.revision for row in sheet.expectations] == [1, 2]


def test_a_later_model_leaves_what_was_expected_alone(books: Books) -> None:
    session, ada, _, bench = books
    before = begun(session, ada, bench).expected_K
    data = {
        "cooler": {
            "kind": "heater-test",
            "points": [
                {"heated": "platform", "added_W": 0.0, "platform_K": 4.5, "shield_K": 40.0},
                {"heated": "platform", "added_W": 0.1, "platform_K": 5.5, "shield_K": 40.0},
            ],
        }
    }
    instruments.measure_cooler(session, ada, bench, data, 0, "", BEGUN + 2 * HOUR)
    sheet = service.find(session, bench, 1)
    assert sheet.expected_K == before
    assert residual.beside(session, sheet).cooler_version == 2


def test_a_lead_lifted_midway_is_a_revision_with_its_time(books: Books) -> None:
    session, ada, _, bench = books
    sheet = begun(session, ada, bench)
    lifted_at = BEGUN + 7 * HOUR
    cryostats.log_change(session, ada, bench.slug, change(1, wire(count=23), done_at=lifted_at), lifted_at)
    rows = finding.revisions_in(session, bench, sheet.cooldown)
    assert [(row.number, row.done_at) for row in rows] == [(2, lifted_at)]


def test_the_base_after_a_change_is_not_compared(books: Books) -> None:
    session, ada, _, bench = books
    sheet = begun(session, ada, bench)
    lifted_at = BEGUN + 2 * HOUR
    cryostats.log_change(session, ada, bench.slug, change(1, wire(count=23), done_at=lifted_at), lifted_at)
    wrote(session, ada, sheet, "base", AT_BASE, BEGUN + 5 * HOUR)
    found = residual.of(session, service.find(session, bench, 1))
    assert {row.verdict for row in found} == {"not comparable"}
    assert "predicted for 1, measured with 2" in found[0].reason


def test_cooling_above_the_number_needs_a_reason_and_keeps_it(books: Books) -> None:
    session, ada, ben, bench = books
    night_orders.write_rule(session, ada, bench.slug, Numbers(go_Pa=0.5), BEGUN)
    with pytest.raises(Refused) as refused:
        service.start(session, ben, bench.slug, Beginning(0.8), BEGUN + HOUR)
    assert "despite" in refused.value.fields
    sheet = service.start(session, ben, bench.slug, Beginning(0.8, despite="Gauge reads high"), BEGUN + HOUR)
    assert sheet.entries[0].data == {
        "pressure_Pa": 0.8,
        "limit_Pa": 0.5,
        "verdict": "no-go",
        "despite": "Gauge reads high",
    }


def test_one_cooldown_at_a_time(books: Books) -> None:
    session, ada, _, bench = books
    begun(session, ada, bench)
    with pytest.raises(Conflict, match="has not ended"):
        service.prepare(session, ada, bench.slug, "", BEGUN + HOUR, BEGUN + HOUR)
    with pytest.raises(Conflict, match="cooling already"):
        begun(session, ada, bench, BEGUN + HOUR)


def test_the_database_itself_holds_one_cooldown_under_way(books: Books) -> None:
    session, ada, _, bench = books
    begun(session, ada, bench)
    assert bench.id is not None
    session.add(
        Cooldown(cryostat_id=bench.id, number=2, begun_at=BEGUN, recorded_at=BEGUN, by_name="Somebody")
    )
    with pytest.raises(DatabaseError):
        session.flush()


@pytest.mark.parametrize("begins", [BEGUN + 48 * HOUR, BEGUN - 30000 * 24 * HOUR])
def test_a_cooldown_neither_begins_ahead_of_now_nor_before_computers(books: Books, begins: object) -> None:
    session, ada, _, bench = books
    with pytest.raises(Refused) as refused:
        service.prepare(session, ada, bench.slug, "", begins, BEGUN)  # type: ignore[arg-type]
    assert "at" in refused.value.fields


def test_a_cooldown_does_not_begin_before_the_last_one_ended(books: Books) -> None:
    session, ada, _, bench = books
    whole(session, ada, bench)
    with pytest.raises(Refused) as refused:
        service.prepare(session, ada, bench.slug, "", BEGUN, BEGUN + 99 * HOUR)
    assert "at" in refused.value.fields


def test_who_may_not_open_neither_cools_nor_warms_and_who_watches_writes_nothing(books: Books) -> None:
    session, ada, ben, bench = books
    instruments.give_grade(session, ada, bench, ben, 1, BEGUN)
    with pytest.raises(Forbidden):
        begun(session, ben, bench)
    sheet = begun(session, ada, bench)
    wrote(session, ben, sheet, "remark", {}, BEGUN + HOUR, "Smells of nothing")
    with pytest.raises(Forbidden):
        service.warm(session, ben, bench.slug, 1, Written("", {"method": "by itself"}), BEGUN + 2 * HOUR)
    instruments.give_grade(session, ada, bench, ben, 0, BEGUN)
    with pytest.raises(Forbidden):
        wrote(session, ben, sheet, "remark", {}, BEGUN + HOUR, "x")


def test_steps_out_of_their_order_are_refused(books: Books) -> None:
    session, ada, _, bench = books
    service.prepare(session, ada, bench.slug, "", BEGUN, BEGUN)
    with pytest.raises(Conflict):
        service.warm(session, ada, bench.slug, 1, Written("", {"method": "by itself"}), BEGUN + HOUR)
    begun(session, ada, bench, BEGUN + HOUR)
    with pytest.raises(Conflict, match="warming began"):
        service.end(session, ada, bench.slug, 1, "open", None, "", BEGUN + 3 * HOUR)
    with pytest.raises(NotFound):
        service.find(session, bench, 2)


def test_an_entry_is_taken_back_by_who_wrote_it_and_stays_to_be_seen(books: Books) -> None:
    session, ada, ben, bench = books
    sheet = begun(session, ada, bench)
    entry = wrote(session, ada, sheet, "base", {**AT_BASE, "platform_K": 2.1}, BEGUN + 5 * HOUR)
    assert entry.id is not None
    with pytest.raises(Forbidden):
        service.take_back(session, ben, bench.slug, 1, entry.id, "wrong curve", BEGUN + 6 * HOUR)
    with pytest.raises(Refused):
        service.take_back(session, ada, bench.slug, 1, entry.id, " ", BEGUN + 6 * HOUR)
    service.take_back(session, ada, bench.slug, 1, entry.id, "wrong curve", BEGUN + 6 * HOUR)
    found = service.find(session, bench, 1)
    assert entry in found.entries
    assert entry not in rules.counting(found.entries)
    with pytest.raises(Conflict):
        service.take_back(session, ada, bench.slug, 1, entry.id, "again", BEGUN + 6 * HOUR)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE cooldown SET number = 7",
        "UPDATE cooldown_expectation SET revision = 7",
        "UPDATE cooldown_entry SET note = 'x'",
        "DELETE FROM cooldown_entry",
        "DELETE FROM cooldown",
        "UPDATE night_rule SET words = 'x'",
    ],
)
def test_the_database_refuses_to_rewrite_a_cooldown(books: Books, statement: str) -> None:
    session, ada, _, bench = books
    night_orders.write_rule(session, ada, bench.slug, Numbers(), BEGUN)
    begun(session, ada, bench)
    with pytest.raises(DatabaseError, match="append-only"):
        session.execute(sa.text(statement))


def test_durations_are_the_median_and_the_band_of_the_last_cooldowns(books: Books) -> None:
    session, ada, _, bench = books
    for number in range(6):
        whole(session, ada, bench, BEGUN + number * timedelta(days=3), hours=4 + number)
    assert bench.id is not None
    found = service.durations(session, bench.id)
    assert found["cool"].median == pytest.approx(6.5 * 3600)
    assert found["cool"].low == pytest.approx(4.5 * 3600)
    assert found["pump"].median == pytest.approx(2 * 3600)
    assert found["warm"].median == pytest.approx(3 * 3600)
    assert service.durations(session, bench.id, last=2)["cool"].count == 2


def test_a_break_of_the_trend_keeps_its_day_and_reason(books: Books) -> None:
    session, ada, _, bench = books
    assert bench.id is not None
    service.break_trend(session, ada, bench.id, BEGUN, "Cold head changed", BEGUN + HOUR)
    from server.cooldowns import trends

    assert [(row.at, row.reason) for row in trends.breaks(session, bench.id)] == [
        (BEGUN, "Cold head changed")
    ]
    with pytest.raises(Refused):
        service.break_trend(session, ada, bench.id, BEGUN, " ", BEGUN)
    with pytest.raises(NotFound):
        service.break_trend(session, ada, 99, BEGUN, "x", BEGUN)


def test_cooldowns_of_a_cryostat_come_newest_first(books: Books) -> None:
    session, ada, _, bench = books
    whole(session, ada, bench)
    begun(session, ada, bench, BEGUN + 90 * HOUR)
    assert bench.id is not None
    assert [row.number for row in service.cooldowns_of(session, bench.id)] == [2, 1]
    assert len(session.exec(select(Cooldown)).all()) == 2
