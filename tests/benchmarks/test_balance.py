"""How long a budget takes, as a ratio to the balance as one writes it first, measured beside it.

That naive balance only finds two temperatures, once. A budget also has a band on every number and a cost for
every element, each of which the naive way would solve again.
"""

import time
from collections.abc import Callable
from typing import Any

import pytest

from server.physics.statistics import Band
from server.physics.thermal import Lag, Run, balance
from tests.benchmarks import naive
from tests.physics.thermal.bench import GREASED, bench_a, best

HELD = Lag("shield", Band.exact(0.5), "varnish", "good")


def runs(count: int) -> list[Run]:
    """As many different runs, each with one unsure length."""
    metal = naive.checked_material()
    return [
        Run(f"run {n}", "wire", metal, 1 + n % 4, 1e-4 + 1e-6 * (n % 40), _lengths(n), (HELD,))
        for n in range(count)
    ]


def _lengths(n: int) -> dict[tuple[str, str], Any]:
    return {("vessel", "shield"): 0.30 + 1e-4 * n, ("shield", "platform"): 0.15}


def unsure(run: Run) -> Run:
    length_m = run.lengths_m["vessel", "shield"]
    assert isinstance(length_m, float)
    spread = Band(0.95 * length_m, length_m, 1.05 * length_m)
    return Run(
        run.key, run.kind, run.material, run.count, run.diameter_m,
        {**run.lengths_m, ("vessel", "shield"): spread}, run.lags,
    )  # fmt: skip


def seconds(job: Callable[[], Any], times: int) -> float:
    """The quickest of several."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        found.append(time.perf_counter() - start)
    return min(found)


def test_it_gives_what_the_naive_balance_gives() -> None:
    build = runs(20)
    shield_K, platform_K = naive.temperatures(build, 300.0)
    found = balance(bench_a(), [GREASED, *build]).temperatures
    assert best(found["shield"]) == pytest.approx(shield_K, abs=1e-4)
    assert best(found["platform"]) == pytest.approx(platform_K, abs=1e-5)


@pytest.mark.benchmark(group="heat budget")
@pytest.mark.parametrize(("count", "least"), [(100, 10.0), (1000, 10.0)])
def test_a_budget_with_bands_and_costs(benchmark: Any, count: int, least: float) -> None:
    exact = runs(count)
    build = [GREASED, *map(unsure, exact)]
    cryostat = bench_a()
    plain_s = seconds(lambda: naive.temperatures(exact[:100], 300.0), 2) * count / 100
    benchmark(balance, cryostat, build)
    ratio = plain_s / benchmark.stats.stats.min
    benchmark.extra_info["times quicker than one naive solve"] = round(ratio)
    assert ratio > least


@pytest.mark.benchmark(group="heat budget")
def test_a_budget_of_elements_nobody_has_seen_before(benchmark: Any) -> None:
    """Nothing kept from before: every element is new."""
    numbers = iter(range(1, 10_000))
    cryostat = bench_a()

    def fresh() -> tuple[tuple[Any, ...], dict[str, Any]]:
        shift = next(numbers) * 1e-9
        new = [
            Run(r.key, r.kind, r.material, r.count, r.diameter_m + shift, r.lengths_m, r.lags) for r in known
        ]  # type: ignore[operator]
        return (cryostat, [GREASED, *new]), {}

    known = [unsure(run) for run in runs(100)]
    plain_s = seconds(lambda: naive.temperatures(runs(100), 300.0), 2)
    benchmark.pedantic(balance, setup=fresh, rounds=15)
    ratio = plain_s / benchmark.stats.stats.min
    benchmark.extra_info["times quicker than one naive solve"] = round(ratio)
    assert ratio > 3.0
