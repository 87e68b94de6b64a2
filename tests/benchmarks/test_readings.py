"""How long a log takes to read and a week to plot, as ratios to work measured beside it."""

import shutil
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlmodel import Session

from server.cooldowns import readings
from server.cooldowns.channels_rules import Wanted
from server.cooldowns.log_cells import take_apart
from server.cooldowns.log_files import Kept, propose, read
from server.cryostats.models import Cryostat
from server.db import make_engine, writing
from tests.cooldowns.bench import a_channel
from tests.factories import a_cryostat, somebody

ROWS, COLUMNS = 60_000, 20
BEGUN = datetime(2026, 3, 2, tzinfo=UTC)
WEEK = timedelta(days=7)
KEPT = {number: Kept(f"Channel {number}", "K") for number in range(COLUMNS)}


def seconds(job: Callable[[], Any], times: int = 3) -> float:
    """The quickest of several."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        found.append(time.perf_counter() - start)
    return min(found)


def log_file() -> tuple[bytes, list[str]]:
    """A log of 60,000 lines and 20 channels, and its numbers alone."""
    values = np.round(300 * np.random.default_rng(3).random((ROWS, COLUMNS)), 4)
    numbers = [",".join(map(str, row)) for row in values.tolist()]
    head = "time," + ",".join(kept.name for kept in KEPT.values())
    lines = [
        f"{BEGUN + timedelta(seconds=row):%Y-%m-%dT%H:%M:%S},{cells}" for row, cells in enumerate(numbers)
    ]
    return "\n".join([head, *lines]).encode(), numbers


def whole(content: bytes) -> Any:
    layout = take_apart(content)
    return read(layout, propose(layout, KEPT), KEPT, "Europe/Vienna")


@pytest.mark.benchmark(group="readings")
def test_a_large_log_takes_little_more_than_its_floats(benchmark: Any) -> None:
    """60,000 × 20 values: head and local times and all, against numpy's own reader of the numbers."""
    content, numbers = log_file()
    assert len(whole(content).values) == COLUMNS
    plain_s = seconds(lambda: np.loadtxt(numbers, delimiter=","))
    benchmark.pedantic(whole, args=(content,), rounds=5)
    ratio = benchmark.stats.stats.min / plain_s
    benchmark.extra_info["times as long as parsing the floats alone"] = round(ratio, 2)
    assert ratio < 1.5


@pytest.fixture
def week(sqlite_template: Path, tmp_path: Path) -> Iterator[tuple[Session, Cryostat]]:
    """A week of four channels at one reading a second."""
    shutil.copy(sqlite_template, tmp_path / "books.db")
    engine = make_engine(f"sqlite:///{tmp_path / 'books.db'}")
    random = np.random.default_rng(4)
    times = BEGUN.timestamp() + np.arange(WEEK.total_seconds())
    with writing(engine) as session:
        ada, cryostat = somebody(session), a_cryostat(session)
        for number in range(4):
            a_channel(session, ada, cryostat, Wanted(f"Channel {number}", "temperature", "K"))
            values = np.round(4.0 + number + 0.01 * random.standard_normal(len(times)), 4)
            readings.store(session, ada, cryostat, {f"Channel {number}": (times, values)}, BEGUN + WEEK)
        session.commit()
        yield session, cryostat
    engine.dispose()
