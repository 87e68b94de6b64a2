"""Pages of openings over a book of 2,000 slips, beside the same pages over a book of one page full."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.app import make_app
from server.cryostats.models import Cryostat
from server.db import make_engine, now, writing
from server.laboratory.service import set_up
from server.openings.models import Opening, OpeningEntry
from server.openings.views import PAGE
from server.people import sign_ins
from server.people.guards import COOKIE
from server.settings import Settings
from server.stock import starter
from server.tables import upgrade
from tests.factories import AT, a_cryostat, somebody
from tests.fixtures.people import browser

YOUNG, OLD = PAGE + 1, 2_000
BEGUN = datetime(2020, 1, 6, 8, tzinfo=UTC)
WANTED = 1.5
ROUNDS = 15
KINDS = ("vent", "lid-off", "ring", "ring", "screws", "tray", "built", "close")
DATA = {
    "vent": {"gas": "nitrogen", "oxygen": 0.209, "coldest_K": 294.0, "relief_free": True},
    "ring": {"where": "Lid", "done": "greased"},
    "screws": {"where": "Mount", "torque_N_m": 0.56},
    "tray": {"out": 8, "in": 8},
    "built": {"revision": 0, "since_begun": "no difference"},
}


def fill(session: Session, cryostat: Cryostat, number: int) -> None:
    """So many slips, a day apart, as the service would have written them."""
    key = cryostat.id
    session.execute(sa.insert(Opening), [_slip(key, each) for each in range(1, number + 1)])
    ids = session.execute(sa.select(Opening.id)).scalars().all()  # type: ignore[call-overload]
    rows = [
        {
            "opening_id": opening,
            "kind": kind,
            "at": BEGUN + timedelta(days=place, minutes=10 * step),
            "data": DATA.get(kind, {}),
            "recorded_at": BEGUN,
            "by_name": "Ada",
        }
        for place, opening in enumerate(ids, 1)
        for step, kind in enumerate(KINDS, 1)
    ]
    session.execute(sa.insert(OpeningEntry), rows)


def _slip(key: int | None, number: int) -> dict[str, object]:
    begun = BEGUN + timedelta(days=number)
    moments = {
        name: begun + timedelta(minutes=10 * step)
        for name, step in {
            "vented_at": 1,
            "opened_at": 2,
            "built_at": 7,
            "closed_at": 8,
            "ended_at": 8,
        }.items()
    }
    kept = {"cryostat_id": key, "number": number, "why": "Sample", "base_revision": 0, "open_s": 4200.0}
    return {**kept, **moments, "begun_at": begun, "recorded_at": begun, "by_name": "Ada", "reservations": []}


@contextmanager
def serving(folder: Path, slips: int) -> Iterator[tuple[Engine, TestClient]]:
    """The program over a book of so many openings, with its steward signed in."""
    folder.mkdir()
    url = f"sqlite:///{folder / 'books.db'}"
    upgrade(url)
    engine = make_engine(url)
    with writing(engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        person = somebody(session)
        starter.lay_out(session, person, [row.key for row in starter.starter()], AT)
        fill(session, a_cryostat(session), slips)
        token = sign_ins.begin(session, person, now(), sign_ins.SEEN_AGAIN)
        session.commit()
    client = browser(make_app(engine, Settings(home=folder)))
    client.cookies.set(COOKIE, token)
    yield engine, client
    engine.dispose()


def queries(engine: Engine, work: Callable[[], object]) -> int:
    """How many statements `work` sends."""
    sent: list[str] = []

    def note(*args: object) -> None:
        sent.append(str(args[2]))

    sa.event.listen(engine, "before_cursor_execute", note)
    work()
    sa.event.remove(engine, "before_cursor_execute", note)
    return len(sent)


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, tuple[Engine, TestClient]]]:
    folder = tmp_path_factory.mktemp("openings")
    with serving(folder / "young", YOUNG) as young, serving(folder / "old", OLD) as old:
        yield {"young": young, "old": old}


def _median_s(work: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return sorted(times)[ROUNDS // 2]


@pytest.mark.parametrize("path", ["", "/{newest}", "/{newest}/paper"])
def test_a_page_over_a_long_book(
    benchmark: BenchmarkFixture, books: dict[str, tuple[Engine, TestClient]], path: str
) -> None:
    """Wanted: as many statements as over a young book, and at most one and a half times as long."""
    (young_engine, young), (old_engine, old) = books["young"], books["old"]
    home = "/cryostats/bench-a/openings"
    here, there = home + path.format(newest=YOUNG), home + path.format(newest=OLD)
    assert old.get(there).status_code == young.get(here).status_code == 200
    assert queries(old_engine, lambda: old.get(there)) == queries(young_engine, lambda: young.get(here))
    young_s = _median_s(lambda: young.get(here))
    benchmark(lambda: old.get(there))
    if benchmark.stats is not None:
        benchmark.extra_info["ratio to a young book"] = round(benchmark.stats.stats.median / young_s, 2)
        benchmark.extra_info["wanted at most"] = WANTED
