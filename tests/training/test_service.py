"""A newcomer's way to grade 2, its lapse and how it comes back; on both engines."""

from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from sqlmodel import Session

from server.cryostats import counters, guards, instruments
from server.cryostats.models import Cryostat
from server.errors import Conflict, Forbidden, Refused
from server.laboratory.service import set_up
from server.people.models import Person
from server.training import rules, service
from server.training.models import TrainingEntry
from server.training.service import Seen
from tests.factories import a_cryostat, somebody

NOW = datetime(2026, 3, 16, 12, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture
def ada(session: Session) -> Person:
    """A steward, in a laboratory that is set up."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    return somebody(session)


@pytest.fixture
def ben(session: Session) -> Person:
    """Somebody who learns."""
    return somebody(session, "ben", steward=False)


@pytest.fixture
def bench(session: Session) -> Cryostat:
    """What is learned on."""
    return a_cryostat(session)


def test_a_grade_is_signed_when_every_line_was_seen_and_lapses_in_good_time(
    session: Session, ada: Person, ben: Person, bench: Cryostat
) -> None:
    row = service.begin(session, ada, bench.slug, "ben", 2, "Ada", NOW)
    number = row.id or 0
    with pytest.raises(Conflict):
        service.begin(session, ada, bench.slug, "ben", 3, "Ada", NOW)
    *most, last = rules.plan(2)
    for line in most:
        service.enter(session, ada, bench.slug, number, Seen(line.key, "shown", "Ada", NOW.date()), NOW)
    missed = Seen(last.key, "one planted spring was not found", "Ada", NOW.date(), passed=False)
    service.enter(session, ada, bench.slug, number, missed, NOW)
    with pytest.raises(Refused, match="not signed"):
        service.sign(session, ada, bench.slug, number, NOW)
    service.enter(session, ada, bench.slug, number, Seen(last.key, "found", "Ada", NOW.date()), NOW)
    service.sign(session, ada, bench.slug, number, NOW)
    assert guards.grade_of(session, ben, bench) == 2
    assert not service.lapsing(session, NOW + 150 * DAY)
    warned = service.lapsing(session, NOW + 160 * DAY)
    assert [(found.person.login, found.lapsed) for found in warned] == [("ben", False)]
    assert service.lapsing(session, NOW + 184 * DAY)[0].lapsed
    assert guards.grade_of(session, ben, bench) == 2, "a lapse locks nobody out"
    with pytest.raises(sa.exc.DBAPIError, match="append-only"), session.begin_nested():
        session.execute(sa.update(TrainingEntry).values(evidence="never"))


def test_one_accompanied_opening_brings_a_lapsed_grade_back(
    session: Session, ada: Person, ben: Person, bench: Cryostat
) -> None:
    instruments.give_grade(session, ada, bench, ben, 2, NOW)
    later = NOW + 270 * DAY
    assert service.lapsing(session, later)[0].lapsed
    with pytest.raises(Forbidden):
        service.accompany(session, ben, bench.slug, "ben", later.date(), later)
    carl = somebody(session, "carl", steward=False)
    instruments.give_grade(session, ada, bench, carl, 2, NOW)
    with pytest.raises(Forbidden, match="lapsed"):
        service.accompany(session, carl, bench.slug, "ben", later.date(), later)
    assert service.accompany(session, ada, bench.slug, "ben", later.date(), later) is None
    assert [row.person.login for row in service.lapsing(session, later)] == ["carl"]
    assert counters.last_hands_on(session, bench, ben) is not None


def test_nobody_writes_for_themselves_and_what_is_wrong_is_said(
    session: Session, ada: Person, ben: Person, bench: Cryostat
) -> None:
    row = service.begin(session, ada, bench.slug, "ben", 2, "Ada", NOW)
    instruments.give_grade(session, ada, bench, ben, 2, NOW)
    good = Seen("room", "walked", "Ada", NOW.date())
    with pytest.raises(Forbidden):
        service.enter(session, ben, bench.slug, row.id or 0, good, NOW)
    with pytest.raises(Forbidden):
        service.begin(session, ben, bench.slug, "ben", 4, "Ben", NOW)
    bad = Seen("nothing", "", "Ben", (NOW + 2 * DAY).date())
    with pytest.raises(Refused) as refused:
        service.enter(session, ada, bench.slug, row.id or 0, bad, NOW)
    assert set(refused.value.fields) == {"line", "evidence", "trainer", "done_on"}
    with pytest.raises(Refused):
        service.book(session, ben, bench.slug, row.id or 0, (NOW - DAY).date(), "", NOW)
    assert service.book(session, ben, bench.slug, row.id or 0, (NOW + DAY).date(), "watch", NOW).next_on
