"""A year in sums, each worked by hand from what was told to the rooms below."""

from datetime import UTC, datetime

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.bookings import reality
from server.bookings.models import Group, Member
from server.cryostats import instruments
from server.db import writing
from server.errors import Refused
from server.people.models import Person
from server.record import year
from server.stock import service as stock
from tests.bookings.conftest import NOW, Desk, ask, desk, hours
from tests.cooldowns.telling import HOUR, whole
from tests.factories import a_bench, lid, wire
from tests.stock.factories import a_lot, an_item, key_of

__all__ = ["desk"]
ZONE = "Europe/Vienna"


def _rows(session: Session, title: str, at: datetime, number: int = 2026) -> tuple[tuple[str, ...], ...]:
    found = year.of(session, number, ZONE, at)
    return next(section.rows for section in found.sections if section.title == title)


def _grouped(desk: Desk) -> Group:
    made = Group(name="Photons")
    desk.session.add(made)
    desk.session.flush()
    desk.session.add(Member(group_id=made.id or 0, person_id=desk.ben.id or 0))
    desk.session.flush()
    return made


def test_hours_are_summed_by_group_and_lost_ones_by_cause(desk: Desk) -> None:
    group = _grouped(desk)
    booking = desk.book(ask(10, group_id=group.id))
    later = NOW + hours(60)
    reality.give_back(desk.session, desk.ada, booking.id or 0, 4, "instrument", "Chiller", later)
    reality.give_back(desk.session, desk.ada, booking.id or 0, 2, "user", "A short", later)
    later += HOUR
    told = _rows(desk.session, "Hours by group", later)
    assert [row[:3] for row in told] == [("Photons", "Bench A", "6.0 h")]
    assert _rows(desk.session, "Hours lost by cause", later) == (
        ("a fault of the instrument", "Bench A", "1", "4.0 h", "4.0 h"),
        ("a fault of the user's own configuration", "Bench A", "1", "2.0 h", "0.0 h"),
    )
    for number in (2025, 2027):
        at = datetime(number + 1, 1, 1, 12, tzinfo=UTC)
        assert _rows(desk.session, "Hours by group", at, number) == ()
        assert _rows(desk.session, "Hours lost by cause", at, number) == ()


def test_what_was_taken_is_told_by_the_group_of_whoever_took_it(desk: Desk) -> None:
    _grouped(desk)
    item = an_item(desk.session, price=2)
    a_lot(desk.session, item, "50")
    stock.use(desk.session, desk.ben, key_of(item), 1.5, "opening 3", NOW)
    stock.use(desk.session, desk.ben, key_of(item), 0.5, "opening 4", NOW)
    stock.use(desk.session, desk.ada, key_of(item), 3, "opening 5", NOW)
    told = {row[1]: row[2:] for row in _rows(desk.session, "What was used up", NOW + HOUR)}
    assert told["Photons"][0] == f"2 {item.unit}"
    assert told["Photons"][1].startswith("4.00")
    assert told[year.NO_GROUP][0] == f"3 {item.unit}"


def test_cold_hours_and_residuals_are_those_of_the_cooldowns_of_the_year(
    app: FastAPI, steward: Person
) -> None:
    a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"), cooler=True)
    with writing(app.state.engine) as session:
        bench = instruments.all_of(session)[0]
        first = whole(session, steward, bench)
        second = whole(session, steward, bench, first.cooldown.begun_at + 72 * HOUR, hours=6.0)
        at = datetime(2026, 6, 1, tzinfo=UTC)
        (row,) = _rows(session, "What the instruments did", at)
        assert row == ("Bench A", "2", "38.0 h", "0", "0")
        assert (24 - 4) + (24 - 6) == 38
        mean = {line[0]: line for line in _rows(session, "Residuals", at)}
        expected = [3.19 - sheet.expected_K["platform"].middle for sheet in (first, second)]
        assert mean["platform"][4] == "2"
        assert float(mean["platform"][2].split()[0].replace("−", "-")) == pytest.approx(
            1000 * sum(expected) / 2, rel=6e-3
        )


def test_a_year_that_has_not_come_is_refused_on_the_page_and_in_the_table(
    steward_client: TestClient,
) -> None:
    for sent in ("3026", "12", "soon"):
        assert steward_client.get("/record/year", params={"year": sent}).status_code == 422
        assert steward_client.get("/record/year/table", params={"year": sent}).status_code == 422
    page = steward_client.get("/record/year")
    assert page.status_code == 200
    assert "until now" in page.text


def test_the_year_turns_with_the_laboratorys_clock(session: Session) -> None:
    eve = datetime(2030, 12, 31, 22, 59, tzinfo=UTC)
    with pytest.raises(Refused):
        year.of(session, 2031, ZONE, eve)
    assert year.of(session, 2031, ZONE, datetime(2030, 12, 31, 23, 1, tzinfo=UTC)).number == 2031


def test_the_table_says_what_the_page_says(app: FastAPI, steward: Person, steward_client: TestClient) -> None:
    a_bench(app.state.engine, steward, wire(label="Loom"), cooler=True)
    with writing(app.state.engine) as session:
        whole(session, steward, instruments.all_of(session)[0])
        session.commit()
    told = steward_client.get("/record/year/table", params={"year": "2026"})
    assert told.headers["content-type"].startswith("text/csv")
    assert '"year-2026.csv"' in told.headers["content-disposition"]
    assert "What the instruments did,1,Cooldowns begun,1" in told.text
