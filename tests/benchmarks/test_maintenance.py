"""What is due over ten years of books, beside the same page over a book that was just begun."""

import time
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy.engine import Engine
from sqlmodel import Session, col, select

from server.app import make_app
from server.cryostats.counter_models import CounterEntry
from server.db import make_engine, now, writing
from server.laboratory.service import set_up
from server.maintenance import starter
from server.maintenance.models import Task, TaskEntry
from server.people import sign_ins
from server.people.guards import COOKIE
from server.people.models import Person
from server.settings import Settings
from server.tables import upgrade
from tests.factories import a_cryostat, somebody
from tests.fixtures.people import browser

PAGES = ("/maintenance", "/cryostats/bench-a/maintenance")
WANTED = 1.5
ROUNDS = 15
WEEK = timedelta(weeks=1)


def fill(session: Session, weeks: int) -> None:
    """A bench with the first set; meters read each week, an opening a week, each task done now and then."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    ada, bench, at = somebody(session), a_cryostat(session), now()
    assert bench.id is not None
    starter.lay_out(session, ada, bench.slug, list(starter.STARTER), at)
    rows = []
    for week in range(weeks):
        moment = at - (weeks - week) * WEEK
        kept = {"cryostat_id": bench.id, "at": moment, "recorded_at": moment, "by_name": "Ada"}
        rows += [
            {**kept, "counter": name, "kind": "reading", "shown": 100.0 * week, "began": 0.0, "note": ""}
            for name in ("cooler_hours", "compressor_hours", "pump_hours", "turbo_hours")
        ]
        rows.append(
            {**kept, "counter": "openings", "kind": "counted", "shown": 1.0, "began": 0.0, "note": ""}
        )
    session.execute(sa.insert(CounterEntry), rows)
    for task in session.exec(select(Task).where(col(Task.retired).is_(False))).all():
        for number in range(weeks // 10):
            moment = at - 10 * number * WEEK
            session.add(
                TaskEntry(
                    task_id=task.id or 0,
                    kind="done",
                    at=moment,
                    recorded_at=moment,
                    text="Done",
                    by_name="Ada",
                )
            )
    session.commit()


class Book:
    """A laboratory's book of so many weeks, and a browser in which its steward is signed in."""

    def __init__(self, folder: Path, weeks: int) -> None:
        folder.mkdir()
        url = f"sqlite:///{folder / 'books.db'}"
        upgrade(url)
        self.engine: Engine = make_engine(url)
        with writing(self.engine) as session:
            fill(session, weeks)
            person = session.exec(select(Person)).one()
            token = sign_ins.begin(session, person, now(), sign_ins.SEEN_AGAIN)
            session.commit()
        self.client = browser(make_app(self.engine, Settings(home=folder)))
        self.client.cookies.set(COOKIE, token)

    def asked(self, page: str) -> int:
        """How many statements one page sends to the database."""
        seen: list[str] = []

        def count(_c: object, _cursor: object, statement: str, *_more: object) -> None:
            seen.append(statement)

        sa.event.listen(self.engine, "before_cursor_execute", count)
        try:
            assert self.client.get(page).status_code == 200
        finally:
            sa.event.remove(self.engine, "before_cursor_execute", count)
        return len(seen)

    def took_s(self, page: str) -> float:
        """The least time of some rounds."""
        times = []
        for _ in range(ROUNDS):
            begun = time.perf_counter()
            assert self.client.get(page).status_code == 200
            times.append(time.perf_counter() - begun)
        return min(times)


@pytest.mark.benchmark(group="maintenance")
def test_ten_years_of_books_cost_what_a_young_one_costs(tmp_path: Path, benchmark: BenchmarkFixture) -> None:
    young, old = Book(tmp_path / "young", 8), Book(tmp_path / "old", 520)
    for page in PAGES:
        assert old.asked(page) == young.asked(page), page
        ratio = old.took_s(page) / young.took_s(page)
        benchmark.extra_info[page] = ratio
        assert ratio <= WANTED, page
    benchmark(lambda: old.client.get(PAGES[0]))
