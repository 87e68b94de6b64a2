"""The night on both engines: what the card knows and does not, who is called, what is written down."""

from datetime import date, timedelta

import numpy as np
import pytest
from sqlmodel import Session

from server.cautions import service as cautions
from server.cautions.forms import Local
from server.cooldowns import channels, night, night_orders, readings, service
from server.cooldowns.channels_rules import Wanted
from server.cooldowns.night_rules import Contact, Numbers, Seen
from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.errors import Forbidden, Refused
from server.laboratory.service import set_up
from server.people.models import Person
from server.people.service import CommandLine
from tests.cooldowns.telling import AT_BASE, BEGUN, HOUR, begun, wrote
from tests.factories import AT, a_cooler, a_cryostat, logged, somebody, wire

ZONE = "Europe/Vienna"
NIGHT = BEGUN + timedelta(hours=18, minutes=40)
"""02:40 UTC, 03:40 in Vienna, of the night after cooling began."""
RULE = Numbers(go_Pa=0.5, restart_Pa=0.5, longest_stop_s=1200.0, decides="Ada")
Books = tuple[Session, Person, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, Ben who watches, and a cryostat that is cold."""
    set_up(session, "Invented laboratory", ZONE)
    ada, ben = somebody(session), somebody(session, "ben", steward=False)
    bench = a_cryostat(session)
    a_cooler(session, bench)
    logged(session, ada, bench, wire())
    sheet = begun(session, ada, bench)
    wrote(session, ada, sheet, "base", {**AT_BASE, "pressure_Pa": 3e-5}, BEGUN + 5 * HOUR)
    return session, ada, ben, bench


def test_before_anybody_wrote_a_rule_the_card_says_so_and_that_nobody_starts_it(books: Books) -> None:
    session, _, _, bench = books
    card = night.card(session, bench, ZONE, NIGHT)
    assert "No restart rule" in card.rule.against[0]
    assert len(card.donts) == 3
    assert "as if it could" in card.itself
    assert card.contacts == ()


def test_a_pressure_of_the_afternoon_is_never_held_against_the_rule_as_if_it_were_present(
    books: Books,
) -> None:
    session, ada, _, bench = books
    night_orders.write_rule(session, ada, bench.slug, RULE, BEGUN)
    card = night.card(session, bench, ZONE, NIGHT)
    assert card.standing.pressure is not None
    assert card.standing.pressure.at == BEGUN + 5 * HOUR
    assert "the pressure" in card.rule.unknown


def test_what_somebody_writes_down_stands_on_the_card_and_in_the_cooldown(books: Books) -> None:
    session, ada, ben, bench = books
    night_orders.write_rule(session, ada, bench.slug, RULE, BEGUN)
    stopped_at = NIGHT - timedelta(minutes=33)
    seen = Seen("Water alarm", NIGHT, stopped_at, 0.4, "Ada", "Left as it is")
    night.write(session, ben, bench.slug, seen, NIGHT)
    card = night.card(session, bench, ZONE, NIGHT)
    assert card.stopped_s == 33 * 60
    assert card.rule.against == ("It has stood longer than the rule's.",)
    assert card.rule.unknown == ()
    assert card.records[0].by_name == "Ben"
    stops = [row for row in service.find(session, bench, 1).entries if row.kind == "stopped"]
    assert [row.at for row in stops] == [stopped_at]


def test_two_records_of_one_night_write_one_stop(books: Books) -> None:
    session, _, ben, bench = books
    for minutes in (33, 30):
        seen = Seen("It stands", NIGHT, NIGHT - timedelta(minutes=minutes))
        night.write(session, ben, bench.slug, seen, NIGHT)
    assert len([row for row in service.find(session, bench, 1).entries if row.kind == "stopped"]) == 1


def test_a_record_keeps_no_time_that_lies_ahead_and_needs_words(books: Books) -> None:
    session, _, ben, bench = books
    with pytest.raises(Refused) as refused:
        night.write(session, ben, bench.slug, Seen(" ", NIGHT + HOUR, NIGHT + HOUR, -1.0), NIGHT)
    assert set(refused.value.fields) == {"seen", "seen_at", "stopped_at", "pressure_Pa"}


def test_a_silent_gauge_is_told_as_silent_and_its_last_value_is_not_shown(books: Books) -> None:
    session, ada, _, bench = books
    wanted = Wanted("Gauge", "pressure", "mbar", "", "", silent_after_s=600.0)
    channels.make(session, ada, bench, wanted, BEGUN)
    last_s = (NIGHT - HOUR).timestamp()
    values = {"Gauge": (np.array([last_s]), np.array([3e-7]))}
    readings.store(session, ada, bench, values, NIGHT)
    card = night.card(session, bench, ZONE, NIGHT)
    assert [(row.value, row.silent) for row in card.standing.readings] == [(None, True)]
    assert card.standing.readings[0].last_at == NIGHT - HOUR
    fresh = night.card(session, bench, ZONE, NIGHT - HOUR + timedelta(minutes=5))
    assert fresh.standing.pressure is not None
    assert fresh.standing.pressure.value_Pa == pytest.approx(3e-5)


ROSTER = (Contact("Ben", "2141", "restart", 0, "0123456"), Contact("Ada", "2102", "decide", 30))


def test_the_roster_of_the_laboratory_holds_where_a_cryostat_has_none(books: Books) -> None:
    session, ada, _, bench = books
    night_orders.write_roster(session, ada, bench.slug, ROSTER, True, NIGHT)
    assert [row.name for row in night.card(session, bench, ZONE, NIGHT).contacts] == ["Ben", "Ada"]
    night_orders.write_roster(session, ada, bench.slug, ROSTER[1:], False, NIGHT)
    assert [row.name for row in night.card(session, bench, ZONE, NIGHT).contacts] == ["Ada"]
    night_orders.write_roster(session, ada, bench.slug, (), False, NIGHT)
    assert [row.name for row in night.card(session, bench, ZONE, NIGHT).contacts] == ["Ben", "Ada"]


def test_a_swap_holds_for_its_night_alone(books: Books) -> None:
    session, ada, _, bench = books
    night_orders.write_roster(session, ada, bench.slug, ROSTER, True, BEGUN)
    tonight = date(2026, 3, 16)
    night_orders.swap(session, ada, bench.slug, tonight, "Ben", "Sabe", "2150", BEGUN)
    assert [row.name for row in night.card(session, bench, ZONE, NIGHT).contacts] == ["Sabe", "Ada"]
    tomorrow = night.card(session, bench, ZONE, NIGHT + 24 * HOUR)
    assert [row.name for row in tomorrow.contacts] == ["Ben", "Ada"]
    with pytest.raises(Refused) as refused:
        night_orders.swap(session, ada, bench.slug, tonight, "Nobody", "Sabe", "x", BEGUN)
    assert set(refused.value.fields) == {"instead_of", "phone"}


def test_numbers_and_roster_are_the_stewards(books: Books) -> None:
    session, ada, ben, bench = books
    instruments.give_grade(session, CommandLine(), bench, ben, 4, AT)
    with pytest.raises(Forbidden):
        night_orders.write_rule(session, ben, bench.slug, RULE, NIGHT)
    with pytest.raises(Forbidden):
        night_orders.write_roster(session, ben, bench.slug, ROSTER, False, NIGHT)
    instruments.give_grade(session, CommandLine(), bench, ben, 0, AT)
    night_orders.write_roster(session, ada, bench.slug, ROSTER, True, NIGHT)
    with pytest.raises(Forbidden):
        night_orders.swap(session, ben, bench.slug, date(2026, 3, 16), "Ben", "Sabe", "2150", NIGHT)


def test_numbers_come_in_versions(books: Books) -> None:
    session, ada, _, bench = books
    night_orders.write_rule(session, ada, bench.slug, RULE, NIGHT)
    night_orders.write_rule(session, ada, bench.slug, Numbers(restart_Pa=0.2), NIGHT)
    assert bench.id is not None
    found = night_orders.rule_of(session, bench.id)
    assert found is not None
    assert (found.number, found.restart_Pa) == (2, 0.2)


def test_the_cautions_of_the_night_carry_their_local_words(books: Books) -> None:
    session, ada, _, bench = books
    cautions.alter(
        session, ada, "S16", Local("The pump starts again; the compressor does not.", "", None), NIGHT
    )
    card = night.card(session, bench, ZONE, NIGHT)
    assert [row.code for row in card.cautions] == ["S01", "S02", "S15", "S16"]
    assert "the compressor does not" in card.cautions[-1].text
