"""Pages of the stock room over a book of 200,000 movements, beside the same pages over a young one."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi.testclient import TestClient
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy.engine import Engine
from sqlmodel import Session, select

from server.app import make_app
from server.db import make_engine, now, writing
from server.laboratory.service import set_up
from server.people import sign_ins
from server.people.guards import COOKIE
from server.people.models import Person
from server.people.service import CommandLine
from server.settings import Settings
from server.stock import starter
from server.stock.models import NOTHING, Demand, Item, Lot, Movement
from server.tables import upgrade
from tests.factories import somebody
from tests.fixtures.people import browser

YOUNG, OLD = 30, 200_000
"""How many movements: of the young book for each item, a page full; of the old one in all."""
A_YEAR_AGO = datetime.now(UTC) - timedelta(days=360)
PAGES = ("/stock", "/stock/items/vacuum-grease", "/stock/count", "/stock/orders")
WANTED = 1.5
ROUNDS = 15


def fill(session: Session, movements: int) -> None:
    """Every item of the first set with its share of the movements, a lot for every 400, totals as kept."""
    starter.lay_out(session, CommandLine(), [row.key for row in starter.starter()], A_YEAR_AGO)
    items = session.exec(select(Item)).all()
    each = movements // len(items)
    for item in items:
        assert item.id is not None
        rows = [_movement(item.id, number, each) for number in range(each)]
        lots = [
            _lot(item.id, rows[start : start + 400], start + 400 >= each) for start in range(0, each, 400)
        ]
        session.add_all(lots)
        session.flush()
        for number, row in enumerate(rows):
            row["lot_id"] = lots[number // 400].id
        session.execute(sa.insert(Movement), rows)
        session.add_all(_months(item.id, rows))
    session.commit()


def _movement(item_id: int, number: int, each: int) -> dict[str, object]:
    change = Decimal(400) if number % 400 == 0 else Decimal(-1)
    return {
        "item_id": item_id,
        "kind": "received" if change > NOTHING else "used",
        "change": change,
        "because": f"opening {number}",
        "at": A_YEAR_AGO + timedelta(days=350) * number / each,
        "by_name": "Ada",
    }


def _lot(item_id: int, rows: list[dict[str, object]], last: bool) -> Lot:
    left = sum((Decimal(str(row["change"])) for row in rows), NOTHING)
    # All but the last are used up; what is left over was thrown away, which the sums do not need to know.
    return Lot(item_id=item_id, received_on=A_YEAR_AGO.date(), on_hand=left if last else NOTHING)


def _months(item_id: int, rows: list[dict[str, object]]) -> Iterator[Demand]:
    found: dict[str, int] = {}
    for row in rows:
        assert isinstance(row["at"], datetime)
        month = f"{row['at']:%Y-%m}"
        found[month] = found.get(month, 0) + (row["kind"] == "used")
    for month, times in found.items():
        amount = Decimal(times)
        yield Demand(
            item_id=item_id, month=month, taken=amount, recorded=amount, squares=float(times), takings=times
        )


@contextmanager
def serving(folder: Path, movements: int) -> Iterator[tuple[Engine, TestClient]]:
    """The program over a book of so many movements, with its steward signed in."""
    folder.mkdir()
    url = f"sqlite:///{folder / 'books.db'}"
    upgrade(url)
    engine = make_engine(url)
    with writing(engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        person: Person = somebody(session)
        fill(session, movements)
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
    folder = tmp_path_factory.mktemp("stock")
    items = len(starter.starter())
    with serving(folder / "young", YOUNG * items) as young, serving(folder / "old", OLD) as old:
        yield {"young": young, "old": old}


def _median_s(work: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return sorted(times)[ROUNDS // 2]


@pytest.mark.parametrize("address", PAGES)
def test_a_page_over_a_long_book(
    benchmark: BenchmarkFixture, books: dict[str, tuple[Engine, TestClient]], address: str
) -> None:
    """Wanted: as many statements as over a young book, and at most one and a half times as long."""
    (young_engine, young), (old_engine, old) = books["young"], books["old"]
    assert old.get(address).status_code == young.get(address).status_code == 200
    assert queries(old_engine, lambda: old.get(address)) == queries(young_engine, lambda: young.get(address))
    young_s = _median_s(lambda: young.get(address))
    benchmark(lambda: old.get(address))
    if benchmark.stats is not None:
        benchmark.extra_info["ratio to a young book"] = round(benchmark.stats.stats.median / young_s, 2)
        benchmark.extra_info["wanted at most"] = WANTED
