"""How long it takes to log a change, as a ratio to the balance as one writes it first, measured beside it.

The naive balance finds two temperatures once and keeps nothing. A logged change reads what is inside, checks
it, writes rows and history, computes a budget with bands and costs, keeps it, and commits.
"""

from itertools import count
from pathlib import Path
from typing import Any

import pytest

from server.cryostats import guards, service
from server.db import make_engine, writing
from server.tables import upgrade
from tests.benchmarks import naive
from tests.benchmarks.test_balance import runs, seconds
from tests.factories import AT, a_cooler, a_cryostat, apart, change, logged, somebody, wire

ELEMENTS = 100


def row(number: int, **more: Any) -> dict[str, Any]:
    return wire(f"w{number}", material=naive.checked_material(), diameter_m=1e-4 + 1e-6 * number, **more)


@pytest.mark.benchmark(group="logging a change")
def test_a_change_among_a_hundred_elements(benchmark: Any, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'books.db'}"
    upgrade(url)
    engine = make_engine(url)
    with writing(engine) as session:
        ada, bench = somebody(session), a_cryostat(session)
        a_cooler(session, bench)
        logged(session, ada, bench, *map(row, range(ELEMENTS)))
        session.commit()
        ada = apart(session, ada)
    bases = count(1)

    def log() -> None:
        base = next(bases)
        with writing(engine) as own:
            service.log_change(own, ada, "bench-a", change(base, row(7, count=10 + base % 2)), AT)
            own.commit()

    plain_s = seconds(lambda: naive.temperatures(runs(ELEMENTS), 300.0), 2)
    benchmark(log)
    ratio = plain_s / benchmark.stats.stats.median
    benchmark.extra_info["times quicker than one naive solve"] = round(ratio, 1)
    benchmark.extra_info["median in ms"] = round(1000 * benchmark.stats.stats.median)
    assert ratio > 2.0
    with writing(engine) as session:
        assert guards.find(session, "bench-a").revision == next(bases)
    engine.dispose()
