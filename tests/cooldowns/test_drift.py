"""Drift over cooldowns: slope, declared step and event of a series; charts that begin anew after a break."""

from datetime import timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.cooldowns import drift, drift_api
from server.cooldowns.trends import break_trend
from server.cryostats import guards, service
from server.db import writing
from server.people.models import Person
from tests.cooldowns.telling import BEGUN, whole
from tests.cooldowns.test_diagnosis import Books, a_laboratory, cooled
from tests.factories import a_bench, change, token_of, wire
from tests.openings.telling import opened

HERE = "/cryostats/bench-a"
NOISE_K = (0.004, -0.006, 0.003, 0.007, -0.005, 0.002)
SLOPE_K, EVENT_K = 0.03, 0.25


@pytest.fixture
def books(session: Session) -> Books:
    """A laboratory with one cryostat."""
    return a_laboratory(session)


def six(books: Books) -> None:
    """J3: 30 mK and 0.3 K of slope a cooldown, a lead declared before the third, an event at the fifth."""
    session, ada, bench = books
    for number, noise_K in enumerate(NOISE_K):
        if number == 2:
            lead = wire("copper", material="copper-rrr-100", count=4, label="Copper")
            at = BEGUN + timedelta(days=3, hours=12)
            service.log_change(session, ada, bench.slug, change(bench.revision, lead, done_at=at), at)
        more_K = SLOPE_K * number + (EVENT_K if number >= 4 else 0.0) + noise_K
        shift = {"platform": more_K, "shield": 0.3 * number}
        cooled(books, number, shift, helium_Pa=15.6e5 * 0.985**number, hours=3.0 * 1.02**number)


def test_slope_declared_step_and_event_are_told_apart_with_their_bands(books: Books) -> None:
    session, _, bench = books
    six(books)
    [stretch] = drift.of(session, bench)
    assert stretch.parted is not None
    assert stretch.steps == (2,)
    assert stretch.parted.event_place == 4
    platform = stretch.parted.witnesses[stretch.names.index("platform")]
    assert platform.slope.scaled(2.0).contains(SLOPE_K)
    assert platform.event.contains(EVENT_K)
    points = stretch.points
    declared_K = points[2].expected_K["platform"] - points[1].expected_K["platform"]
    assert declared_K > 0.02
    assert platform.steps[0].contains(declared_K)
    for band in (platform.event, platform.steps[0]):
        assert band.low is not None
        assert band.high is not None
        assert (band.high - band.low) / 2 <= 0.06
    assert stretch.parted.slope_probability > 0.95


def test_a_quiet_cryostat_has_neither(books: Books) -> None:
    session, _, bench = books
    for number in range(5):
        cooled(books, number, {"platform": NOISE_K[number]})
    [stretch] = drift.of(session, bench)
    assert stretch.parted is not None
    assert stretch.parted.event_place is None
    assert stretch.parted.slope_probability < 0.5
    assert all(not chart.average.outside and not chart.sums.outside for chart in stretch.charts)


def test_charts_begin_anew_after_a_break(books: Books) -> None:
    session, ada, bench = books
    assert bench.id is not None
    for number in range(3):
        cooled(books, number, {"platform": 0.0})
    for number in range(3, 6):
        cooled(books, number, {"platform": 0.2})
    [whole] = drift.of(session, bench)
    platform = next(chart for chart in whole.charts if chart.name == "platform")
    assert platform.average.outside
    break_trend(
        session, ada, bench.id, BEGUN + timedelta(days=5, hours=12), "Service", BEGUN + timedelta(days=6)
    )
    before, after = drift.of(session, bench)
    assert (len(before.points), len(after.points)) == (3, 3)
    for stretch in (before, after):
        assert not next(chart for chart in stretch.charts if chart.name == "platform").average.outside


def test_what_cannot_be_compared_stays_in_the_table_and_out_of_the_charts(books: Books) -> None:
    session, _, bench = books
    sheet = cooled(books, 0, {})
    assert sheet.cooldown.number == 1
    assert drift.of(session, bench)[0].parted is None


def test_the_page_the_drawing_and_the_table_are_there(
    app: FastAPI, steward: Person, steward_client: TestClient
) -> None:
    a_bench(app.state.engine, steward, wire(label="Loom"), cooler=True)
    assert "No cooldown yet" in steward_client.get(f"{HERE}/drift").text
    assert steward_client.get(f"{HERE}/drift.svg").status_code == 404
    room = f"{HERE}/cooldowns"
    for _ in range(3):
        number = steward_client.post(room).headers["location"].rpartition("/")[2]
        steward_client.post(f"{room}/{number}/start", data={"pressure_Pa": "4e-3 mbar"})
        base = {"kind": "base", "shield_K": "32.1", "platform_K": "3.30", "heater": "off", "settled": "yes"}
        steward_client.post(f"{room}/{number}/entries", data=base)
        steward_client.post(f"{room}/{number}/warming", data={"method": "by itself"})
        steward_client.post(f"{room}/{number}/end", data={"state": "parked"})
    page = steward_client.get(f"{HERE}/drift").text
    assert "Slope, declared steps and event" in page
    assert "<svg" in page
    assert steward_client.get(f"{HERE}/drift.svg").text.startswith("<svg")
    table = steward_client.get(f"{HERE}/drift.csv?style=semicolon").text
    assert "platform (K);shield (K)" in table
    assert len(table.splitlines()) == 4


@pytest.mark.parametrize("address", ["/drift", "/drift.svg", "/drift.csv"])
def test_nobody_reads_it_without_an_account(client: TestClient, address: str) -> None:
    assert client.get(f"{HERE}{address}", follow_redirects=False).status_code in (303, 401)


def opened_before(books: Books, number: int) -> None:
    """A slip between two cooldowns, up to the lid being off."""
    session, ada, bench = books
    opened(session, ada, bench, BEGUN + timedelta(days=2 * number, hours=-12))


def test_an_event_is_looked_for_only_where_slips_say_that_it_was_opened(books: Books) -> None:
    session, _, bench = books
    for number in range(6):
        if number == 3:
            opened_before(books, 3)
        cooled(books, number, {"platform": NOISE_K[number] + (EVENT_K if number >= 3 else 0.0)})
    [stretch] = drift.of(session, bench)
    assert stretch.by_slips
    assert stretch.open_places == (3,)
    assert stretch.parted is not None
    assert set(stretch.parted.event_probability) == {3}
    assert stretch.parted.event_place == 3


def test_a_step_where_nothing_was_opened_is_no_event_and_stays_unexplained(books: Books) -> None:
    session, _, bench = books
    for number in range(6):
        if number == 1:
            opened_before(books, 1)
        cooled(books, number, {"platform": NOISE_K[number] + (EVENT_K if number >= 4 else 0.0)})
    [stretch] = drift.of(session, bench)
    assert stretch.open_places == (1,)
    assert stretch.parted is not None
    left = stretch.parted.witnesses[stretch.names.index("platform")].unexplained
    assert max(abs(value) for value in left) > 2 * drift.SPREAD["platform"]


def test_without_any_slip_an_event_may_lie_before_every_cooldown(books: Books) -> None:
    session, _, bench = books
    for number in range(4):
        cooled(books, number, {"platform": NOISE_K[number]})
    [stretch] = drift.of(session, bench)
    assert not stretch.by_slips
    assert stretch.open_places == (1, 2, 3)


def test_a_program_reads_drift_with_its_parts(books: Books) -> None:
    session, ada, bench = books
    six(books)
    [told] = drift_api.show(bench.slug, ada, session)
    assert told.declared == [3]
    assert told.opened == [2, 4, 5, 6]
    assert max(told.event_probability, key=lambda number: told.event_probability[number]) == 5
    low, _, high = told.sizes["platform"].event
    assert low is not None
    assert high is not None
    assert low <= EVENT_K <= high
    assert len(told.sizes["platform"].unexplained) == len(told.cooldowns) == 6
    assert told.charts["platform"].cooldowns == [1, 2, 3, 4, 5, 6]


def test_a_program_reads_it_with_a_token_even_where_nothing_can_be_told_apart(
    app: FastAPI, steward: Person
) -> None:
    a_bench(app.state.engine, steward, cooler=True)
    client = TestClient(app)
    assert client.get("/api/v1/cryostats/bench-a/drift").status_code == 401
    client.headers["Authorization"] = f"Bearer {token_of(app.state.engine, steward)}"
    assert client.get("/api/v1/cryostats/bench-a/drift").json() == []
    with writing(app.state.engine) as session:
        whole(session, steward, guards.find(session, "bench-a"))
        session.commit()
    [told] = client.get("/api/v1/cryostats/bench-a/drift").json()
    assert (told["sizes"], [row["cooldown"] for row in told["cooldowns"]]) == ({}, [1])
