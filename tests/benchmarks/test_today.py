"""Today over ten years of books, beside the same page over a book begun this week: queries and time."""

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.app import make_app
from server.bookings.models import Booking, Occupancy
from server.cautions.service import seed
from server.cooldowns import channels
from server.cooldowns.channels_rules import Wanted
from server.cooldowns.models import Cooldown
from server.cooldowns.readings_models import ReadingBlock
from server.cryostats.draft_models import Draft, DraftStep, DraftVersion
from server.cryostats.models import Cryostat, ElementRow, Revision, StateEntry
from server.db import make_engine, writing
from server.faults.models import Fault
from server.laboratory.service import set_up
from server.people import sign_ins
from server.people.guards import COOKIE
from server.people.models import Person
from server.people.service import CommandLine
from server.settings import Settings
from server.stock import starter
from server.tables import upgrade
from tests.benchmarks.test_stock import queries
from tests.factories import a_cryostat, lid, logged, somebody, wire
from tests.fixtures.people import browser

WANTED = 1.5
ROUNDS = 40
YEARS = 10
RUNS_A_YEAR = 45
"""Openings a year of one busy cryostat (the trade's year of work, from memory)."""
NOW = datetime.now(UTC).replace(microsecond=0)
CHANNELS = ("Platform", "Shield", "Vacuum")


def begun(session: Session) -> list[Cryostat]:
    """Two cryostats with people, channels and stock, as they are in the first week."""
    set_up(session, "Invented laboratory", "Europe/Vienna")
    seed(session)
    person = somebody(session)
    starter.lay_out(session, CommandLine(), [row.key for row in starter.starter()], NOW)
    made = []
    for name in ("Bench A", "Bench B"):
        cryostat = a_cryostat(session, name)
        logged(session, person, cryostat, wire(label="Loom"), lid())
        for channel in CHANNELS:
            channels.make(session, person, cryostat, Wanted(channel, "temperature", "K", "platform"), NOW)
        session.add(_state(cryostat, NOW - timedelta(days=1)))
        made.append(cryostat)
    session.flush()
    return made


def _state(cryostat: Cryostat, at: datetime) -> StateEntry:
    key = cryostat.id or 0
    return StateEntry(cryostat_id=key, state="cold", since=at, recorded_at=at, by_name="Ada")


def grow(session: Session, cryostats: list[Cryostat]) -> None:
    """Ten years: runs with their bookings, states, drafts, faults and revisions, and a log of every hour."""
    for cryostat in cryostats:
        key = cryostat.id or 0
        for number in range(1, YEARS * RUNS_A_YEAR + 1):
            at = NOW - timedelta(days=number * 365 / RUNS_A_YEAR)
            _run(session, key, number, at)
        session.flush()
    ids = session.execute(sa.text("SELECT id FROM channel")).scalars().all()
    last = int(NOW.timestamp()) // 3600
    rows = [
        _block(channel, hour)
        for channel in ids
        for hour in range(last - YEARS * 8760, last, 4)  # a log that runs a quarter of the time
    ]
    session.execute(sa.insert(ReadingBlock), rows)


def _run(session: Session, key: int, number: int, at: datetime) -> None:
    end = at + timedelta(days=4)
    place = Occupancy(cryostat_id=key, starts=at, ends=end, kind="booking")
    draft = Draft(cryostat_id=key, name=f"Run {number}", made_at=at, by_name="Ada", by_id=1)
    session.add_all([place, draft])
    session.flush()
    by: dict[str, Any] = {"by_name": "Ada", "by_id": 1}
    session.add_all(
        [
            Booking(
                uid=f"{key}-{number}",
                cryostat_id=key,
                occupancy_id=place.id,
                state="booked",
                owner_id=1,
                owner_name="Ada",
                purpose="A run",
                want="as-is",
                configuration="revision:1",
                cold_hours=40,
                made_at=at,
                altered_at=at,
                **by,
            ),
            DraftVersion(draft_id=draft.id or 0, number=1, base_revision=1, reason="A run", at=at, **by),
            DraftStep(draft_id=draft.id or 0, version=1, what="built", revision=1, at=at, **by),
            Cooldown(
                cryostat_id=key,
                number=number,
                begun_at=at,
                started_at=at,
                warming_at=end,
                ended_at=end,
                recorded_at=at,
                **by,
            ),
            Revision(
                cryostat_id=key,
                number=number + 1,
                base=number,
                reason="A run",
                done_at=at,
                recorded_at=at,
                **by,
            ),
            ElementRow(
                cryostat_id=key,
                key=f"chip-{number}",
                kind="source",
                from_revision=number,
                to_revision=number + 1,
            ),
            Fault(
                cryostat_id=key, what_seen="Frost", severity="slight", seen_at=at, at=at, state="mended", **by
            ),
            *(
                StateEntry(
                    cryostat_id=key,
                    state=state,
                    since=at + timedelta(hours=n),
                    recorded_at=at,
                    by_name="Ada",
                )
                for n, state in enumerate(("open", "pumping", "cooling", "cold", "warming"))
            ),
        ]
    )


def _block(channel: int, hour: int) -> dict[str, object]:
    ms = hour * 3_600_000
    ends = {"first": 3.4, "last": 3.4, "low": 3.4, "high": 3.4}
    return {
        "channel_id": channel,
        "hour": hour,
        "count": 60,
        "first_ms": ms,
        "last_ms": ms,
        "content": b"\0" * 200,
        **ends,
    }


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, tuple[Engine, TestClient]]]:
    folder = tmp_path_factory.mktemp("today")
    made = {}
    for name in ("young", "old"):
        made[name] = _served(folder / name, old=name == "old")
    yield made
    for engine, _ in made.values():
        engine.dispose()


def _served(folder: Path, *, old: bool) -> tuple[Engine, TestClient]:
    folder.mkdir()
    url = f"sqlite:///{folder / 'books.db'}"
    upgrade(url)
    engine = make_engine(url)
    with writing(engine) as session:
        cryostats = begun(session)
        if old:
            grow(session, cryostats)
        person = session.get(Person, 1)
        assert person is not None
        token = sign_ins.begin(session, person, datetime.now(UTC), sign_ins.SEEN_AGAIN)
        session.commit()
    client = browser(make_app(engine, Settings(home=folder)))
    client.cookies.set(COOKIE, token)
    return engine, client


def _seconds(client: TestClient) -> float:
    began = time.perf_counter()
    answer = client.get("/today")
    took = time.perf_counter() - began
    assert answer.status_code == 200
    return took


def test_ten_years_of_books_ask_no_more_queries_of_today(
    benchmark: BenchmarkFixture, books: dict[str, tuple[Engine, TestClient]]
) -> None:
    asked = {name: queries(engine, partial(client.get, "/today")) for name, (engine, client) in books.items()}
    assert asked["old"] == asked["young"]
    benchmark.extra_info["queries"] = asked["old"]
    benchmark(lambda: books["old"][1].get("/today"))


def test_today_takes_at_most_half_as_long_again_over_ten_years(
    benchmark: BenchmarkFixture, books: dict[str, tuple[Engine, TestClient]]
) -> None:
    times: dict[str, list[float]] = {"young": [], "old": []}
    for _ in range(ROUNDS):  # in turn, so that a busy machine slows both
        for name, (_, client) in books.items():
            times[name].append(_seconds(client))
    ratio = min(times["old"]) / min(times["young"])
    benchmark.extra_info["ratio"] = ratio
    benchmark(lambda: books["old"][1].get("/today"))
    assert ratio <= WANTED
