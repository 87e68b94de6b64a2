"""The book of the next steward: what it tells, what it says is not known, how often it asks the database."""

from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.cautions import service as cautions
from server.cooldowns import channels
from server.cooldowns.channels_rules import Wanted
from server.cryostats import guards, parts
from server.cryostats.part_rules import Described
from server.db import reading, writing
from server.faults import service as faults
from server.handover import book, rules
from server.handover.book import Book
from server.handover.rules import Clock
from server.laboratory import orders
from server.maintenance import service as maintenance
from server.maintenance import tasks
from server.people.models import Person
from server.record.rules import Section
from tests.cooldowns.telling import BEGUN, HOUR, whole
from tests.factories import a_bench, lid, logged, wire
from tests.stock.factories import a_lot, an_item

NOW = datetime(2026, 6, 1, 9, tzinfo=UTC)
CLOCK = Clock(NOW, "Europe/Vienna")
ADDRESS = "/cryostats/bench-a/handover"
DAY = 24 * HOUR


@pytest.fixture
def kept(app: FastAPI, steward: Person) -> FastAPI:
    """Bench A with a loom, a cooldown, a fault that is open, an order, a task, a thermometer, stock."""
    a_bench(app.state.engine, steward, wire(label="Loom"), lid(label="Lid"), cooler=True)
    with writing(app.state.engine) as session:
        bench = guards.find(session, "bench-a")
        whole(session, steward, bench)
        faults.report(session, steward, bench.id, "Gauge jumps a decade", "", BEGUN + 3 * HOUR)
        orders.write(session, steward, "cryostat/bench-a", "Two pairs of eyes", 0, NOW)
        limits = {"days": 100.0}
        task = tasks.make(
            session,
            steward,
            "bench-a",
            tasks.Wanted("Adsorber", "service", limits=limits, last_done=BEGUN),
            NOW,
        )
        wish = maintenance.Deferral("days", (NOW + 60 * DAY).timestamp(), "The adsorber has not come", 0)
        maintenance.defer(session, steward, "bench-a", task.id or 0, wish, NOW)
        said = Described(
            "t-1", "thermometer", "Platform", "R-0417", {"curve_file": "r0417.txt"}, "shelf", "Drawer"
        )
        parts.enter(session, steward, said, NOW, date(2026, 6, 1))
        a_lot(session, an_item(session, stops_work=True), "50")
        session.commit()
    return app


def _book(session: Session) -> Book:
    return book.of(session, [guards.find(session, "bench-a")], CLOCK)


def _section(found: Book, title: str) -> Section:
    return next(row for row in found.sections if row.title.endswith(f"· {title}"))


def test_it_tells_what_every_room_knows(kept: FastAPI) -> None:
    with reading(kept.state.engine) as session:
        found = _book(session)
    assert {row[0] for row in _section(found, "Configuration").rows} == {"Loom", "Lid"}
    [cooldown] = _section(found, "The last 20 cooldowns").rows
    assert cooldown[0] == "1"
    assert "platform 3.19 K" in cooldown[4]
    assert "platform" in cooldown[5]
    [fault] = _section(found, "Faults not over").rows[:1]
    assert fault[1] == "Gauge jumps a decade"
    assert ("Bench A", "Two pairs of eyes", "Ada Steward", "1 Jun 2026") in _section(
        found, "Standing orders in force"
    ).rows
    [task] = _section(found, "Tasks").rows
    assert task[0] == "Adsorber"
    [off] = _section(found, "What was put off").rows
    assert off[2:4] == ("The adsorber has not come", "Ada Steward")
    assert ("t-1", "R-0417", "r0417.txt", "not known", "") in _section(
        found, "Thermometers and the files of their curves"
    ).rows
    assert any(section.title.startswith("Bench A · The lists") for section in found.sections)


def test_what_nobody_wrote_down_stands_at_the_front(kept: FastAPI) -> None:
    with reading(kept.state.engine) as session:
        found = _book(session)
    assert found.sections[0].title == "What is not known"
    said = {(row.where, row.what) for row in found.gaps}
    assert ("Bench A", "Whom to call at night") in said
    assert ("t-1 Platform", "When it was calibrated") in said
    assert ("Bench A", "Its ports and what is on their pins") in said
    assert not any("A standing order" in what for where, what in said if where == "Bench A")
    assert not any("The file of its curve" in what for _, what in said)


def test_a_gap_goes_once_somebody_wrote_it_down(kept: FastAPI) -> None:
    with writing(kept.state.engine) as session:
        cautions.seed(session)
        cards = cautions.every(session)
        for card in cards:
            card.owner, card.review_on = "Ada", date(2027, 5, 1)
        cards[0].owner, cards[0].review_on = "", date(2026, 5, 1)
        session.flush()
        before = {row.what for row in _book(session).gaps}
        cards[0].owner, cards[0].review_on = "Ada", date(2027, 5, 1)
        session.flush()
        after = {row.what for row in _book(session).gaps}
    late = f"“{cards[0].title}” was to be looked at again on 2026-05-01"
    assert before - after == {f"Who owns {cards[0].code}", late}


def test_the_reference_stays_until_something_is_altered(kept: FastAPI, steward: Person) -> None:
    with writing(kept.state.engine) as session:
        before = _book(session).reference
        assert _book(session).reference == before
        logged(session, steward, guards.find(session, "bench-a"), wire("more", label="More"))
        assert _book(session).reference != before


def test_its_queries_do_not_grow_with_the_years(kept: FastAPI, steward: Person) -> None:
    engine = kept.state.engine

    def queries() -> int:
        seen: list[str] = []

        def note(*args: object) -> None:
            seen.append(str(args[2]))

        with reading(engine) as session:
            bench = guards.find(session, "bench-a")
            sa.event.listen(engine, "before_cursor_execute", note)
            book.of(session, [bench], CLOCK)
            sa.event.remove(engine, "before_cursor_execute", note)
        return len(seen)

    before = queries()
    with writing(engine) as session:
        bench = guards.find(session, "bench-a")
        for number in range(6):
            faults.report(session, steward, bench.id, f"Tick {number}", "", BEGUN + HOUR)
            logged(session, steward, bench, wire(f"more-{number}"))
            a_lot(session, an_item(session, f"Thing {number}"), "3")
            wanted = Wanted(f"Channel {number}", "temperature", "K", "platform")
            channels.make(session, steward, bench, wanted, NOW)
        session.commit()
    assert queries() == before


def test_a_table_is_written_by_rfc_4180() -> None:
    section = Section("T", ("a", "b"), (("x, y", 'say "so"'), ("two\nlines", "=1")))
    told = rules.csv(section).removeprefix("\ufeff")
    assert told == 'a,b\r\n"x, y","say ""so"""\r\n"two\nlines",\'=1\r\n'


@pytest.mark.parametrize(("text", "name"), [("Loom: at 4 K / lag", "loom-at-4-k-lag"), ("…", "unnamed")])
def test_a_name_of_a_file_is_plain(text: str, name: str) -> None:
    assert rules.name_of(text) == name


@pytest.mark.usefixtures("kept")
def test_only_stewards_read_it(steward_client: TestClient, member_client: TestClient) -> None:
    for address in ("/handover", "/handover/book", "/handover.zip", ADDRESS, f"{ADDRESS}.zip"):
        assert member_client.get(address).status_code == 403, address
        assert steward_client.get(address).status_code == 200, address
    assert steward_client.get("/cryostats/nowhere/handover").status_code == 404
    page = steward_client.get(ADDRESS).text
    for words in ("What is not known", "Loom", "Gauge jumps a decade", "Two pairs of eyes", "r0417.txt"):
        assert words in page


def test_a_laboratory_without_a_cryostat_has_a_book(steward_client: TestClient) -> None:
    page = steward_client.get("/handover/book")
    assert page.status_code == 200
    assert "Invented laboratory" in page.text
