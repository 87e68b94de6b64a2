"""How long a budget takes, as a ratio to the balance as one writes it first, measured beside it.

That naive balance only finds two temperatures, once. A budget also has a band on every number and a cost for
every element, each of which the naive way would solve again.
"""

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from server.physics.statistics import Band
from server.physics.thermal import Lag, Run, Support, Wanted, balance, choose_wire, temperatures
from tests.benchmarks import naive
from tests.physics.thermal.bench import GREASED, bench_a, best

STRAP = Support("strap", "copper-rrr-100", 1, Band(2e-8, 1e-7, 3e-7), 0.15, "shield", "platform")
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
    return replace(run, lengths_m={**run.lengths_m, ("vessel", "shield"): spread})


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
@pytest.mark.parametrize(("count", "least"), [(100, 40.0), (1000, 40.0)])
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
        shift_m = next(numbers) * 1e-9
        new = [replace(run, diameter_m=1e-4 + 1e-6 * n + shift_m) for n, run in enumerate(known)]
        return (cryostat, [GREASED, *new]), {}

    known = [unsure(run) for run in runs(100)]
    plain_s = seconds(lambda: naive.temperatures(runs(100), 300.0), 2)
    benchmark.pedantic(balance, setup=fresh, rounds=15)
    ratio = plain_s / benchmark.stats.stats.min
    benchmark.extra_info["times quicker than one naive solve"] = round(ratio)
    assert ratio > 3.0


@pytest.mark.benchmark(group="heat budget")
def test_bands_that_are_drawn(benchmark: Any) -> None:
    build = [GREASED, *map(unsure, runs(96)), *(replace(STRAP, key=f"strap {n}") for n in range(3))]
    benchmark(balance, bench_a(), build)
    plain_s = seconds(lambda: naive.temperatures(runs(100), 300.0), 2)
    ratio = plain_s / benchmark.stats.stats.min
    benchmark.extra_info["times quicker than one naive solve"] = round(ratio)
    assert ratio > 2.0


@pytest.mark.benchmark(group="heat budget")
def test_five_hundred_configurations_at_once(benchmark: Any) -> None:
    exact = runs(99)
    batch = [[GREASED, *exact, replace(exact[0], key="one more", count=1 + n)] for n in range(500)]
    found = benchmark(temperatures, bench_a(), batch)
    assert found[0]["platform"] < found[499]["platform"]
    plain_s = 500.0 * seconds(lambda: naive.temperatures(exact, 300.0), 2)
    ratio = plain_s / benchmark.stats.stats.min
    benchmark.extra_info["times quicker than a naive solve for each"] = round(ratio)
    assert ratio > 100.0


@pytest.mark.benchmark(group="heat budget")
def test_choosing_a_wire(benchmark: Any) -> None:
    ranked = benchmark(choose_wire, bench_a(), [GREASED, *runs(20)], Wanted(24, 1e-3, 20.0))
    plain_s = len(ranked) * seconds(lambda: naive.temperatures(runs(20), 300.0), 2)
    ratio = plain_s / benchmark.stats.stats.min
    benchmark.extra_info["times quicker than a naive solve for each"] = round(ratio)
    assert ratio > 10.0
