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

from server.cooldowns import channels, plots_views, readings
from server.cooldowns.channels_rules import Wanted
from server.cooldowns.log_cells import take_apart
from server.cooldowns.log_files import Kept, propose, read
from server.cryostats.models import Cryostat
from server.db import make_engine, writing
from server.web.render import environment
from tests.cooldowns.bench import a_channel
from tests.factories import a_cryostat, somebody

ROWS, COLUMNS = 60_000, 20
BEGUN = datetime(2026, 3, 2, tzinfo=UTC)
WEEK = timedelta(days=7)
KEPT = {number: Kept(f"Channel {number}", "K") for number in range(COLUMNS)}


def seconds(*jobs: Callable[[], Any], times: int = 4) -> list[float]:
    """The least time of the processor that each took, one after the other in turn, so that load meets all."""
    found: list[list[float]] = [[] for _ in jobs]
    for _ in range(times):
        for job, took in zip(jobs, found, strict=True):
            start = time.process_time()
            job()
            took.append(time.process_time() - start)
    return [min(took) for took in found]


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
    plain_s, took_s = seconds(lambda: np.loadtxt(numbers, delimiter=","), lambda: whole(content))
    benchmark.pedantic(whole, args=(content,), rounds=3)
    ratio = took_s / plain_s
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


@pytest.mark.benchmark(group="readings")
def test_a_week_of_four_channels_at_one_a_second_is_plotted(
    benchmark: Any, week: tuple[Session, Cryostat]
) -> None:
    """From the blocks to the words of the SVG; against as many plain numbers listed by the hour.

    2.4 million readings. The yardstick has its numbers in memory, unpacked, and only looks for extremes.
    """
    session, cryostat = week
    template = environment().get_template("cooldowns/plot.svg")
    chosen = channels.of(session, cryostat.id or 0)
    what = plots_views.Asked(tuple(chosen), BEGUN, BEGUN + WEEK)

    def plotted() -> str:
        view = plots_views.page(session, cryostat, what, "Europe/Vienna")
        return template.render(view=view, laboratory=None)

    assert plotted().count('class="plot-curve"') == 4
    plain = np.random.default_rng(5).random((4 * 168, 3600))
    plain_s, took_s = seconds(lambda: [(row.tolist(), row.min(), row.max()) for row in plain], plotted)
    benchmark.pedantic(plotted, rounds=3)
    benchmark.extra_info["milliseconds of the processor"] = round(1000 * took_s)
    benchmark.extra_info["times as long as listing the numbers and their extremes"] = round(
        took_s / plain_s, 2
    )
    assert took_s / plain_s < 5.0


@pytest.mark.benchmark(group="readings")
def test_taking_a_large_log_into_the_book(benchmark: Any, sqlite_template: Path, tmp_path: Path) -> None:
    """60,000 × 20 values read, compared and stored in one transaction; against parsing the floats alone."""
    content, numbers = log_file()
    shutil.copy(sqlite_template, tmp_path / "books.db")
    engine = make_engine(f"sqlite:///{tmp_path / 'books.db'}")
    with writing(engine) as session:
        ada, cryostat = somebody(session), a_cryostat(session)
        for kept in KEPT.values():
            a_channel(session, ada, cryostat, Wanted(kept.name, "temperature", "K"))
        session.commit()

        def taken() -> None:
            log = whole(content)
            readings.store(session, ada, cryostat, log.rows(0, ROWS), BEGUN + WEEK)
            session.rollback()
            session.refresh(ada)

        plain_s, took_s = seconds(lambda: np.loadtxt(numbers, delimiter=","), taken)
        benchmark.pedantic(taken, rounds=2)
    engine.dispose()
    benchmark.extra_info["times as long as parsing the floats alone"] = round(took_s / plain_s, 2)
