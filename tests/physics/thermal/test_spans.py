"""How heat divides along a clamped run."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.thermal.lag import lag_conductances
from server.physics.thermal.spans import HELD, Grip, _ladder, paths, shares

lengths = st.floats(0.01, 2.0)
grips = st.builds(Grip, st.floats(0.1, 500.0), st.floats(0.001, 0.2))


def test_lags_that_hold_cut_a_run_into_its_spans() -> None:
    assert paths((0.3, 0.1, 0.05), (HELD, HELD)) == ((0, 1, 1 / 0.3), (1, 2, 1 / 0.1), (2, 3, 1 / 0.05))
    assert shares((0.3, 0.1), (HELD,)) == ((0.5, 0.5, 0.0), (0.0, 0.5, 0.5))


def test_without_a_lag_it_is_one_span() -> None:
    assert paths((0.45,), ()) == ((0, 1, 1 / 0.45),)


@given(lengths, lengths, grips)
def test_one_lag_is_the_fin_equation_between_two_spans(before_m: float, after_m: float, grip: Grip) -> None:
    # Against the two-port of the fin equation, derived elsewhere.
    k_A = 1e-5
    fin = lag_conductances(1.0, k_A, k_A * grip.per_m**2, grip.length_m, before_m, after_m)
    found = {(i, j): value for i, j, value in paths((before_m, after_m), (grip,))}
    assert found[0, 2] == pytest.approx(fin.through_per_m, rel=1e-9, abs=1e-12)
    assert found[0, 1] == pytest.approx(float(fin.hot_per_m - fin.through_per_m), rel=1e-9, abs=1e-12)
    assert found[1, 2] == pytest.approx(float(fin.cold_per_m - fin.through_per_m), rel=1e-9, abs=1e-12)


@given(lengths, lengths, grips)
def test_the_closed_form_is_the_ladder(before_m: float, after_m: float, grip: Grip) -> None:
    seen, _ = _ladder((before_m, after_m), (grip,))
    for i, j, value in paths((before_m, after_m), (grip,)):
        assert value == pytest.approx(-seen[i, j], rel=1e-9, abs=1e-12)


@given(st.lists(lengths, min_size=3, max_size=4), st.data())
def test_no_heat_is_lost_and_all_conductances_are_positive(spans_m: list[float], data: st.DataObject) -> None:
    held = [data.draw(st.one_of(grips, st.just(HELD))) for _ in spans_m[1:]]
    for _, _, value in paths(tuple(spans_m), tuple(held)):
        assert value >= -1e-12
    for share in shares(tuple(spans_m), tuple(held)):
        assert math.fsum(share) == pytest.approx(1.0)
        assert min(share) >= -1e-12


def test_a_longer_lag_lets_less_through() -> None:
    through = [paths((0.3, 0.15), (Grip(100.0, length_m),))[1][2] for length_m in (0.001, 0.01, 0.05, 0.2)]
    assert through == sorted(through, reverse=True)
    assert through[0] == pytest.approx(1 / 0.45, rel=0.7)
    assert through[-1] < 1e-6


def test_two_lags_agree_with_the_fin_equation_on_a_grid() -> None:
    # The run cut into short pieces, each a conductance, those under a clamp leaking to their stage.
    spans_m, held, piece = (0.10, 0.06, 0.04), (Grip(60.0, 0.02), Grip(150.0, 0.01)), 1e-5
    stage_of = [(None, spans_m[0]), (1, 0.02), (None, spans_m[1]), (2, 0.01), (None, spans_m[2])]
    stages = np.concatenate([np.full(round(length / piece), stage or 0) for stage, length in stage_of])
    leak = np.array([0.0, held[0].per_m ** 2, held[1].per_m ** 2])[stages] * piece
    count, driven = len(stages) + 1, {0: 1.0, 1: 0.0, 2: 0.0, 3: 0.0}
    diagonal = np.full(count, 2.0 / piece)
    diagonal[1:] += leak / 2.0
    diagonal[:-1] += leak / 2.0
    u, below = np.zeros(count), np.zeros(count)
    u[0] = driven[0]
    # Thomas algorithm between the two ends; every stage but the warm end stands at zero.
    for n in range(1, count - 1):
        factor = 1.0 / (diagonal[n] - (below[n - 1] / piece if n > 1 else 0.0))
        below[n] = factor / piece
        u[n] = factor * (u[n - 1] / piece)
    for n in range(count - 2, 0, -1):
        u[n] += below[n] * u[n + 1]
    found = {(i, j): value for i, j, value in paths(spans_m, held)}
    assert u[-2] / piece == pytest.approx(found[0, 3], rel=2e-3)
    in_first = (leak * (u[1:] + u[:-1]) / 2.0)[stages == 1].sum()
    assert in_first == pytest.approx(found[0, 1], rel=2e-3)
