"""Why a cooldown is warm: the lid that was off and not recorded, a slow loss of helium, what was found."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session

from server.cooldowns import diagnosis, diagnosis_rules, service
from server.cooldowns.diagnosis import Diagnosed
from server.cooldowns.finding import Sheet
from server.cooldowns.service import Beginning, Written
from server.cryostats.models import Cryostat
from server.errors import Forbidden, Refused
from server.faults import service as faults
from server.faults.causes import CAUSES
from server.laboratory.service import set_up
from server.people.models import Person
from tests.cooldowns.telling import BEGUN, HOUR
from tests.factories import a_cooler, a_cryostat, lid, logged, somebody, wire

Books = tuple[Session, Person, Cryostat]
MOUNT = {"hot_stage": "mount", "cold_stage": "platform", "filler": "greased", "screws": 4, "screws_of": 4}
CARRIER = {"hot_stage": "sample", "cold_stage": "mount", "filler": "greased"}
JOINTS = ({"key": "mount", "kind": "joint", **MOUNT}, {"key": "carrier", "kind": "joint", **CARRIER})


def a_laboratory(session: Session) -> Books:
    """A steward, and a cryostat with cooler, loom, lid and a mount at revision 1."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    ada = somebody(session)
    bench = a_cryostat(session)
    a_cooler(session, bench)
    logged(session, ada, bench, wire(label="Loom"), lid(label="Lid"), *JOINTS)
    return session, ada, bench


@pytest.fixture
def books(session: Session) -> Books:
    """A laboratory with one cryostat."""
    return a_laboratory(session)


def cooled(
    books: Books, day: int, more: dict[str, float], *, helium_Pa: float = 15.6e5, hours: float = 3.0
) -> Sheet:
    """A cooldown `more` kelvin above its prediction, helium read, 10 K after `hours`."""
    session, ada, bench = books
    at = BEGUN + timedelta(days=2 * day)
    sheet = service.start(session, ada, bench.slug, Beginning(0.3, at), at + HOUR)
    number = sheet.cooldown.number

    def write(kind: str, data: dict[str, Any], when: Any) -> None:
        service.enter(session, ada, bench.slug, number, Written(kind, data, when), when + HOUR)

    write("helium", {"pressure_Pa": helium_Pa}, at)
    write("mark", {"stage": "platform", "target": "10"}, at + hours * HOUR)
    read = {
        f"{stage}_K": band.middle + more.get(stage, 0.0)
        for stage, band in sheet.expected_K.items()
        if stage != "vessel"
    }
    base = {**read, "pressure_Pa": 2e-5, "heater": "off", "settled": "yes"}
    write("base", base, at + (hours + 0.5) * HOUR)
    warm_at = at + timedelta(days=1)
    service.warm(session, ada, bench.slug, number, Written("", {"method": "by itself"}, warm_at), warm_at)
    service.end(session, ada, bench.slug, number, "parked", warm_at + HOUR, "", warm_at + HOUR)
    return service.find(session, bench, number)


def keys(told: Diagnosed, place: int = 0) -> set[str]:
    """Every cause that the explanation at this place names."""
    assert told.diagnosis is not None
    return {one.cause for row in told.diagnosis.explanations[place].causes for one in row.alike}


def test_a_cooldown_as_expected_has_nothing_wrong(books: Books) -> None:
    for day in range(3):
        cooled(books, day, {"platform": 0.01})
    told = diagnosis.of(books[0], cooled(books, 4, {"platform": 0.012}), {})
    assert told.diagnosis is not None
    first = told.diagnosis.explanations[0]
    assert not first.causes
    assert first.known
    assert told.loads == ()


def test_a_lid_that_is_off_and_not_recorded_is_named(books: Books) -> None:
    """J2: platform and sample far too warm, shield hardly moved, vacuum good."""
    for day in range(3):
        cooled(books, day, {})
    told = diagnosis.of(
        books[0], cooled(books, 4, {"shield": 0.3, "platform": 4.2, "mount": 4.2, "sample": 4.6}), {}
    )
    assert told.diagnosis is not None
    assert any("lid-missing" in keys(told, place) for place in range(3))
    assert [load.stage for load in told.loads][:1] == ["platform"]
    assert told.loads[0].heat_W.middle > 0.3


def test_less_helium_a_slower_cooldown_and_both_stages_warmer_are_the_cooler(books: Books) -> None:
    for day in range(5):
        cooled(books, day, {"platform": 0.002 * (day % 2)})
    sheet = cooled(
        books,
        6,
        {"shield": 1.5, "platform": 0.35, "mount": 0.35, "sample": 0.35},
        helium_Pa=14.8e5,
        hours=3.2,
    )
    told = diagnosis.of(books[0], sheet, {})
    assert keys(told) == {"helium-low"}
    assert told.diagnosis is not None
    size = told.diagnosis.explanations[0].causes[0].size
    assert size is not None
    assert size.middle == pytest.approx(1 - 14.8 / 15.6, abs=0.01)


def test_without_static_helium_it_is_asked_for_and_both_stay_open(books: Books) -> None:
    """Shield and platform up, helium not recorded: an adsorber is not diagnosed outright."""
    session, ada, bench = books
    for day in range(3):
        cooled(books, day, {})
    sheet = cooled(books, 6, {"shield": 2.0, "platform": 0.2, "mount": 0.2, "sample": 0.2})
    entry = next(row for row in sheet.entries if row.kind == "helium")
    assert entry.id is not None
    service.take_back(session, ada, bench.slug, sheet.cooldown.number, entry.id, "Wrong gauge", BEGUN)
    told = diagnosis.of(session, service.find(session, bench, sheet.cooldown.number), {})
    missing = [row.name for row in told.witnesses if row.reason]
    assert missing == ["helium"]
    assert "static helium" in diagnosis_rules.MISSING["helium"]
    assert told.diagnosis is not None
    assert told.diagnosis.explanations[0].probability < 0.9


def test_what_is_usual_here_is_no_fault(books: Books) -> None:
    """A cryostat that always reads 60 mK above the prediction is as it should be at 60 mK."""
    for day in range(5):
        cooled(books, day, {"platform": 0.06 + 0.002 * (day % 3)})
    told = diagnosis.of(books[0], cooled(books, 6, {"platform": 0.062}), {})
    platform = next(row for row in told.witnesses if row.name == "platform")
    assert platform.usual == pytest.approx(0.062, abs=0.003)
    assert platform.count == 5
    assert abs(told.seen["platform"]) < 0.01


def test_a_chosen_standard_deviation_counts_as_it_is(books: Books) -> None:
    told = diagnosis.of(books[0], cooled(books, 0, {"platform": 0.3}), {"platform": 0.5})
    assert told.readings["platform"].sigma == 0.5
    assert told.diagnosis is not None
    assert not told.diagnosis.explanations[0].causes


def test_what_was_found_becomes_a_fault_and_raises_its_cause(books: Books) -> None:
    session, ada, bench = books
    for day in range(2):
        cooled(books, day, {})
    sheet = cooled(books, 4, {"platform": 0.2, "mount": 0.2, "sample": 0.2})
    before = diagnosis.of(session, sheet, {})
    row = diagnosis.found(
        session,
        ada,
        bench.slug,
        sheet.cooldown.number,
        "touch-mount-shield",
        "Braid",
        BEGUN + timedelta(days=30),
    )
    fault = faults.find(session, row.fault_id)
    assert fault.cause == "touch-mount-shield"
    assert "platform +200 mK" in fault.what_seen
    assert row.told[0]["probability"] > 0
    after = diagnosis.of(session, sheet, {})
    assert after.often == {"touch": 1.0}
    assert chance_of(after, "touch") > chance_of(before, "touch")


def chance_of(told: Diagnosed, cause: str) -> float:
    """How likely a single cause of a class with this one in it is."""
    assert told.diagnosis is not None
    rows = enumerate(told.diagnosis.explanations)
    return sum(row.probability for place, row in rows if len(row.causes) == 1 and cause in keys(told, place))


def test_only_who_operates_says_what_was_found_and_only_what_is_on_the_list(books: Books) -> None:
    session, ada, bench = books
    sheet = cooled(books, 0, {})
    with pytest.raises(Refused):
        diagnosis.found(session, ada, bench.slug, sheet.cooldown.number, "gremlins", "", BEGUN)
    ben = somebody(session, "ben", steward=False)
    with pytest.raises(Forbidden):
        diagnosis.found(session, ben, bench.slug, sheet.cooldown.number, "lid-open", "", BEGUN)


def test_every_cause_of_a_fault_that_is_counted_is_a_cause_of_a_diagnosis() -> None:
    assert set(diagnosis_rules.OF_FAULTS.values()) <= set(diagnosis_rules.MEANS)
    assert set(diagnosis_rules.OF_FAULTS) <= set(CAUSES)
