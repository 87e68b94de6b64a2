"""The last cooldown like a configuration; marks the readings show; a reference that becomes the cooler."""

from datetime import timedelta

import numpy as np
import pytest
from sqlmodel import Session

from server.cooldowns import channels, listed, marks, readings, reference, residual, rules, service, similar
from server.cooldowns.channels_rules import Wanted
from server.cryostats import budget, contents, instruments
from server.cryostats.models import Cryostat
from server.errors import Forbidden, NotFound, Refused
from server.laboratory.service import set_up
from server.people.models import Person
from server.people.service import CommandLine
from tests.cooldowns.telling import AT_BASE, BEGUN, HOUR, begun, whole, wrote
from tests.factories import AT, a_cooler, a_cryostat, lid, logged, put, somebody, wire

Books = tuple[Session, Person, Cryostat]


@pytest.fixture
def books(session: Session) -> Books:
    """A steward, and a cryostat with cooler, loom and lid at revision 1."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    ada = somebody(session)
    bench = a_cryostat(session)
    a_cooler(session, bench)
    logged(session, ada, bench, wire(label="Loom"), lid())
    return session, ada, bench


def test_nothing_is_similar_before_the_first_base(books: Books) -> None:
    session, ada, bench = books
    begun(session, ada, bench)
    assert similar.find(session, bench, contents.elements(session, bench, 1)) is None


def test_the_most_alike_is_found_and_what_differs_is_named(books: Books) -> None:
    session, ada, bench = books
    whole(session, ada, bench)
    logged(session, ada, bench, wire("coax", material="stainless-304"), wire("spare"))
    whole(session, ada, bench, BEGUN + timedelta(days=3))
    wanted = {row.key: row for row in (put(wire(label="New name")), put(lid("off")))}
    found = similar.find(session, bench, wanted)
    assert found is not None
    assert found.sheet.cooldown.number == 1
    assert (found.likeness.same, found.likeness.of) == (1, 2)
    assert [row.after.key for row in found.likeness.differs.altered] == ["lid"]


def test_of_two_that_are_as_alike_the_last_is_told(books: Books) -> None:
    session, ada, bench = books
    whole(session, ada, bench)
    whole(session, ada, bench, BEGUN + timedelta(days=3))
    puts = contents.elements(session, bench, 1)
    found = similar.find(session, bench, puts)
    assert found is not None
    assert found.sheet.cooldown.number == 2
    earlier = similar.find(session, bench, puts, before=2)
    assert earlier is not None
    assert earlier.sheet.cooldown.number == 1


def test_what_shares_nothing_is_not_called_similar(books: Books) -> None:
    session, ada, bench = books
    whole(session, ada, bench)
    assert similar.find(session, bench, {"x": put(wire("x"))}) is None


def test_marks_come_from_the_readings_once_and_say_so(books: Books) -> None:
    session, ada, bench = books
    channels.make(session, ada, bench, Wanted("Platform", "temperature", "K", "platform"), BEGUN)
    sheet = begun(session, ada, bench)
    hours = np.arange(0.0, 4.0, 0.01)
    kelvin = 295.0 * np.exp(-hours)
    times_s = BEGUN.timestamp() + hours * 3600
    readings.store(session, ada, bench, {"Platform": (times_s, kelvin)}, BEGUN + 5 * HOUR)
    assert marks.take(session, ada, bench.slug, 1, BEGUN + 5 * HOUR) == 4
    found = {row.target: row for row in rules.marks(sheet.cooldown, service.find(session, bench, 1).entries)}
    # 295 exp(−t) is 100 K at ln 2.95 = 1.0818 h; a reading every 36 s.
    assert found["100"].took_s == pytest.approx(1.0818 * 3600, abs=40)
    assert not found["100"].typed
    with pytest.raises(Refused):
        marks.take(session, ada, bench.slug, 1, BEGUN + 5 * HOUR)


def heater_test(session: Session, ada: Person, bench: Cryostat) -> None:
    sheet = begun(session, ada, bench)
    wrote(session, ada, sheet, "base", {**AT_BASE, "shield_K": 32.0, "platform_K": 3.2}, BEGUN + 5 * HOUR)
    for number, (added_W, platform_K) in enumerate(((0.03, 3.44), (0.1, 4.0))):
        data = {"heated": "platform", "added_W": added_W, "shield_K": 32.1, "platform_K": platform_K}
        wrote(session, ada, sheet, "heater-step", data, BEGUN + (6 + number) * HOUR)


def test_a_reference_cooldown_with_a_heater_test_makes_a_new_cooler_version(books: Books) -> None:
    session, ada, bench = books
    heater_test(session, ada, bench)
    expected = service.find(session, bench, 1).expected_K
    version = reference.make_cooler(session, ada, bench.slug, 1, BEGUN + 9 * HOUR)
    assert (version.number, version.bare_revision) == (2, 1)
    assert [row["added_W"] for row in version.data["cooler"]["points"]] == [0.0, 0.03, 0.1]
    # With its own elements as the bare reference the prediction is the measured base.
    again = budget.of_revision(session, bench, 1).budget.temperatures["platform"]
    assert again.best == pytest.approx(3.2, abs=1e-3)
    assert service.find(session, bench, 1).expected_K == expected


def test_no_cooler_is_made_without_a_quiet_base_or_by_another_than_the_steward(books: Books) -> None:
    session, ada, bench = books
    with pytest.raises(NotFound):
        reference.make_cooler(session, ada, bench.slug, 1, BEGUN)
    sheet = begun(session, ada, bench)
    wrote(session, ada, sheet, "base", {**AT_BASE, "heater": "on"}, BEGUN + 5 * HOUR)
    with pytest.raises(Refused, match="heater was off"):
        reference.make_cooler(session, ada, bench.slug, 1, BEGUN + 9 * HOUR)
    ben = somebody(session, "ben", steward=False)
    instruments.give_grade(session, CommandLine(), bench, ben, 4, AT)
    with pytest.raises(Forbidden):
        reference.make_cooler(session, ben, bench.slug, 1, BEGUN + 9 * HOUR)


def test_a_base_outside_the_band_implies_a_load_at_its_stage(books: Books) -> None:
    session, ada, bench = books
    sheet = begun(session, ada, bench)
    high_K = sheet.expected_K["platform"].high
    assert high_K is not None
    data = {**AT_BASE, "shield_K": sheet.expected_K["shield"].middle, "platform_K": high_K + 0.3}
    wrote(session, ada, sheet, "base", data, BEGUN + 5 * HOUR)
    sheet = service.find(session, bench, 1)
    rows = residual.of(session, sheet)
    assert {row.stage: row.verdict for row in rows}["platform"] == "outside"
    loads = residual.loads(session, sheet, rows)
    assert [load.stage for load in loads] == ["platform"]
    # 7.5 mK a milliwatt: more than 0.3 K is more than 40 mW.
    assert loads[0].heat_W.middle > 0.04


def test_a_lid_nobody_wrote_down_is_not_compared(books: Books) -> None:
    session, ada, bench = books
    logged(session, ada, bench, lid("not-recorded", label="Lid"))
    whole(session, ada, bench)
    rows = residual.of(session, service.find(session, bench, 1))
    assert {row.verdict for row in rows} == {"not comparable"}
    assert "not recorded whether in or out: Lid" in rows[0].reason


def test_a_checklist_of_a_cooldown_is_begun_once(books: Books) -> None:
    session, ada, bench = books
    begun(session, ada, bench)
    first = listed.begin(session, ada, bench.slug, 1, "before-warming", BEGUN + HOUR)
    assert first.startswith("/checklists/")
    assert listed.begin(session, ada, bench.slug, 1, "before-warming", BEGUN + HOUR) == first
    with pytest.raises(NotFound):
        listed.begin(session, ada, bench.slug, 1, "newcomer-training", BEGUN + HOUR)
