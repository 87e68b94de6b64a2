"""Lags against closed forms, a boundary value solver, a published table and the trade."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.physics.errors import OutOfRange, UnknownMaterial, Unphysical
from server.physics.materials import awg_diameter_m, constant_material, material
from server.physics.thermal.balance import balance
from server.physics.thermal.lag import (
    coaxial_contact_W_m_K,
    estimated_lag_leaving_K,
    estimated_lag_length_m,
    flat_contact_W_m_K,
    fraction_not_taken,
    lag_conductances,
    lag_contact_W_m_K,
    lag_fillers,
    lag_leaving_K,
    lag_length_m,
)
from server.physics.thermal.runs import Lag, Run
from tests.physics.thermal.bench import GREASED, LENGTHS_m, bench_a

FINE_m2 = math.pi / 4.0 * awg_diameter_m(36) ** 2
fillers = st.sampled_from(lag_fillers())
lengths_m = st.floats(1e-4, 0.2)


def test_the_worked_copper_wire_needs_the_recomputed_length() -> None:
    # Recomputed: k 400, 0.032 mm², 0.5 W/(m K), 220 K down to 1 mK: 62.24 mm.
    length_m = lag_length_m(constant_material(400.0), 0.032e-6, 0.5, 300.0, 80.0, 1e-3)
    assert length_m == pytest.approx(0.06224, rel=2e-4)
    assert length_m == pytest.approx(math.log(220.0 / 1e-3) / 197.642, rel=1e-5)


@pytest.mark.parametrize(("length_mm", "left"), [(10.0, 0.2719), (20.0, 0.03839), (50.0, 1.022e-4)])
def test_the_worked_copper_wire_leaves_a_finite_lag_as_recomputed(length_mm: float, left: float) -> None:
    # Recomputed: the same wire, adiabatic tip.
    assert fraction_not_taken(400.0, 0.032e-6, 0.5, length_mm * 1e-3) == pytest.approx(left, rel=5e-4)
    leaves_K = lag_leaving_K(constant_material(400.0), 0.032e-6, 0.5, length_mm * 1e-3, 300.0, 80.0)
    assert (leaves_K - 80.0) / 220.0 == pytest.approx(left, rel=1e-3)


# Thermometer maker's installation appendix after Hust 1970, from memory: mm for 0.21, 0.032, 0.013 and
# 0.005 mm² in varnish, within 1 mK of the stage. One entry (manganin, second, 300 to 80 K) is left out:
# the table as remembered says 4, which does not fit its row.
TABLE_mm = {
    ("copper-rrr-100", 80.0): (160, 57, 33, 19),
    ("copper-rrr-100", 4.2): (688, 233, 138, 80),
    ("phosphor-bronze", 80.0): (32, 11, 6, 4),
    ("phosphor-bronze", 4.2): (38, 13, 7, 4),
    ("manganin", 80.0): (21, None, 4, 2),
    ("manganin", 4.2): (20, 7, 4, 2),
    ("stainless-304", 80.0): (17, 6, 3, 2),
    ("stainless-304", 4.2): (14, 5, 3, 2),
}
ENTRIES = [
    (name, stage_K, area_mm2, length_mm)
    for (name, stage_K), row in TABLE_mm.items()
    for area_mm2, length_mm in zip((0.21, 0.032, 0.013, 0.005), row, strict=True)
    if length_mm is not None
]


@pytest.mark.parametrize(("name", "stage_K", "area_mm2", "length_mm"), ENTRIES)
def test_the_estimate_holds_the_published_length(
    name: str, stage_K: float, area_mm2: float, length_mm: float
) -> None:
    band = estimated_lag_length_m(name, area_mm2 * 1e-6, "varnish", 300.0, stage_K, 1e-3)
    rounding_mm = 0.5
    assert band.low is not None
    assert band.high is not None
    assert band.low * 1e3 - rounding_mm <= length_mm <= band.high * 1e3 + rounding_mm


@pytest.mark.parametrize("name", ["copper-rrr-100", "phosphor-bronze", "stainless-304"])
def test_a_finite_lag_agrees_with_a_boundary_value_solver(name: str) -> None:
    from scipy.integrate import solve_bvp

    solid, area_m2, contact, length_m = material(name), 0.0127e-6, 0.6, 0.006

    def slopes(_: Any, y: Any) -> Any:
        T = np.clip(y[0], 36.0, 309.0)
        return np.array([-y[1] / (solid.conductivity_W_m_K(T) * area_m2), -contact * (y[0] - 40.0)])

    def ends(warm: Any, cold: Any) -> Any:
        return np.array([warm[0] - 300.0, cold[1]])

    x = np.linspace(0.0, length_m, 400)
    m = math.sqrt(contact / (solid.conductivity_W_m_K(170.0) * area_m2))
    guess = 40.0 + 260.0 * np.exp(-m * x)
    solved = solve_bvp(slopes, ends, x, np.array([guess, np.full_like(x, 1e-3)]), tol=1e-6, max_nodes=50_000)
    assert solved.success
    leaves_K = lag_leaving_K(name, area_m2, contact, length_m, 300.0, 40.0)
    assert leaves_K - 40.0 == pytest.approx(solved.y[0][-1] - 40.0, rel=1e-3, abs=1e-5)


@settings(deadline=None, max_examples=25)
@given(
    st.sampled_from(["copper-rrr-100", "manganin", "stainless-304"]), fillers, lengths_m, st.floats(1.1, 4.0)
)
def test_a_longer_lag_never_leaves_a_run_warmer(
    name: str, filler: str, length_m: float, factor: float
) -> None:
    short = estimated_lag_leaving_K(name, FINE_m2, filler, length_m, 290.0, 35.0)
    long = estimated_lag_leaving_K(name, FINE_m2, filler, length_m * factor, 290.0, 35.0)
    assert 35.0 <= long.middle <= short.middle + 1e-9 <= 290.0 + 1e-6


def test_a_short_dry_lag_is_visibly_worse_than_a_long_greased_one() -> None:
    dry = estimated_lag_leaving_K("phosphor-bronze", FINE_m2, "none", 0.003, 300.0, 35.0)
    greased = estimated_lag_leaving_K("phosphor-bronze", FINE_m2, "grease", 0.020, 300.0, 35.0)
    assert dry.middle > 100.0
    assert greased.middle < 36.0


def test_five_millimetres_of_varnish_hold_a_fine_alloy_wire() -> None:
    # Common practice, no source: for fine enamelled wire of an alloy 5 mm in varnish is ample.
    leaves = estimated_lag_leaving_K("phosphor-bronze", FINE_m2, "varnish", 0.005, 300.0, 35.0)
    assert leaves.middle - 35.0 < 0.03 * 265.0


def test_a_lag_shows_nothing_or_everything_at_its_ends() -> None:
    copper = material("copper-rrr-100")
    assert lag_leaving_K(copper, FINE_m2, 0.5, 0.0, 300.0, 40.0) == pytest.approx(300.0)
    assert lag_leaving_K(copper, FINE_m2, 0.5, 10.0, 300.0, 40.0) == pytest.approx(40.0, abs=1e-6)
    assert lag_length_m(copper, FINE_m2, 0.5, 40.0005, 40.0, 1e-3) == 0.0


def test_a_run_colder_than_its_stage_is_warmed_alike() -> None:
    solid = constant_material(50.0)
    up = lag_leaving_K(solid, FINE_m2, 0.3, 0.004, 10.0, 35.0)
    down = lag_leaving_K(solid, FINE_m2, 0.3, 0.004, 60.0, 35.0)
    assert 35.0 - up == pytest.approx(down - 35.0, rel=1e-6)


@given(
    st.floats(0.5, 2000.0),
    st.floats(1e-9, 1e-5),
    st.floats(1e-4, 10.0),
    st.floats(0.0, 0.3),
    st.floats(0.0, 0.3),
)
def test_lags_in_a_row_multiply_for_a_long_wire(
    k_W_m_K: float, area_m2: float, contact: float, one_m: float, two_m: float
) -> None:
    # cosh(a + b) lies between cosh(a) cosh(b) and twice that.
    both = fraction_not_taken(k_W_m_K, area_m2, contact, one_m + two_m)
    product = fraction_not_taken(k_W_m_K, area_m2, contact, one_m) * fraction_not_taken(
        k_W_m_K, area_m2, contact, two_m
    )
    assert product / 2.0 * (1.0 - 1e-9) <= both <= product * (1.0 + 1e-9)


spans_m = st.floats(0.01, 1.0)


@given(st.floats(1.0, 1000.0), st.floats(1e-9, 1e-6), st.floats(1e-3, 10.0), lengths_m, spans_m, spans_m)
def test_no_heat_is_lost_in_a_lag(
    k_W_m_K: float, area_m2: float, contact: float, lag_m: float, before_m: float, after_m: float
) -> None:
    lag = lag_conductances(k_W_m_K, area_m2, contact, lag_m, before_m, after_m)
    hot, through, cold = (float(np.asarray(v)) for v in (lag.hot_per_m, lag.through_per_m, lag.cold_per_m))
    assert 0.0 <= through <= hot * (1.0 + 1e-12)
    assert through <= cold * (1.0 + 1e-12)
    assert hot <= 1.0 / before_m * (1.0 + 1e-12)
    assert cold <= 1.0 / after_m * (1.0 + 1e-12)
    # The stage is never warmer than the warm end nor colder than the cold one: it takes what it should.
    plain = 1.0 / (before_m + after_m + lag_m)
    assert through <= plain * (1.0 + 1e-9)


def test_two_spans_and_a_lag_agree_with_three_solved_pieces() -> None:
    # The linear system of the three pieces written out: two spans, one fin.
    k, A, g, L, a, b = 30.0, 1.27e-8, 0.3, 0.004, 0.30, 0.15
    m = math.sqrt(g / (k * A))
    u_hot, u_cold = 5000.0, -200.0
    rows = np.array(
        [
            [1.0, 0.0, a, 0.0],  # u0 + a q_in = u_hot
            [-math.cosh(m * L), 1.0, math.sinh(m * L) / m, 0.0],  # the fin's temperature
            [m * math.sinh(m * L), 0.0, -math.cosh(m * L), 1.0],  # the fin's heat
            [0.0, 1.0, 0.0, -b],  # uL − b q_out = u_cold
        ]
    )
    _, _, q_in, q_out = np.linalg.solve(rows, np.array([u_hot, 0.0, 0.0, u_cold]))
    lag = lag_conductances(k, A, g, L, a, b)
    assert lag.hot_per_m * u_hot - lag.through_per_m * u_cold == pytest.approx(q_in, rel=1e-9)
    assert lag.through_per_m * u_hot - lag.cold_per_m * u_cold == pytest.approx(q_out, rel=1e-9)


def test_lags_take_arrays() -> None:
    lag = lag_conductances(np.array([30.0, 400.0]), 1.27e-8, 0.3, np.array([0.0, 1.0]), 0.3, 0.15)
    assert lag.through_per_m == pytest.approx(np.array([1.0 / 0.45, 0.0]), abs=1e-12)


def test_a_sleeve_conducts_as_a_hollow_cylinder() -> None:
    # ht's conduction shape factor of a hollow cylinder, 2 pi L/ln(r2/r1), by its cylindrical_heat_transfer.
    from ht.conduction import cylindrical_heat_transfer

    other = cylindrical_heat_transfer(Ti=10.0, To=9.0, hi=1e12, ho=1e12, Di=0.5e-3, ts=[0.6e-3], ks=[0.25])
    assert coaxial_contact_W_m_K(0.25, 0.5e-3, 1.7e-3) == pytest.approx(other["Q"], rel=1e-6)


def test_fillers_are_ordered_from_best_to_worst_and_unknown_holds_them_all() -> None:
    for temperature_K in (4.0, 35.0, 77.0, 300.0):
        bests = [lag_contact_W_m_K(filler, temperature_K).middle for filler in lag_fillers()]
        assert bests == sorted(bests, reverse=True)
        assert all(lag_contact_W_m_K("unknown", temperature_K).contains(best) for best in bests)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(Unphysical, match="tolerance_K"):
        lag_length_m("manganin", FINE_m2, 0.3, 300.0, 40.0, 0.0)
    with pytest.raises(Unphysical, match="contact_W_m_K"):
        lag_length_m("manganin", FINE_m2, math.nan, 300.0, 40.0, 1e-3)
    with pytest.raises(OutOfRange):
        lag_length_m("manganin", FINE_m2, 0.3, 400.0, 40.0, 1e-3)
    with pytest.raises(OutOfRange):
        lag_leaving_K("manganin", FINE_m2, 0.3, 0.01, 400.0, 40.0)
    with pytest.raises(UnknownMaterial, match="'honey'"):
        estimated_lag_length_m("manganin", FINE_m2, "honey", 300.0, 40.0, 1e-3)
    with pytest.raises(Unphysical, match="outer_m must be above"):
        coaxial_contact_W_m_K(0.25, 1e-3, 1e-3)
    with pytest.raises(Unphysical, match="not all be zero"):
        lag_conductances(30.0, 1e-8, 0.3, 0.0, 0.0, 0.0)


@given(st.floats(0.01, 10.0), st.floats(1e-5, 0.03), st.floats(0.0, 3e-4), st.floats(0.01, 10.0))
def test_a_flat_conductor_is_held_by_its_width_and_never_better_than_without_its_film(
    wire_W_m_K: float, width_m: float, film_m: float, film_W_m_K: float
) -> None:
    bare = flat_contact_W_m_K(wire_W_m_K, width_m)
    behind = flat_contact_W_m_K(wire_W_m_K, width_m, film_m, film_W_m_K)
    assert flat_contact_W_m_K(wire_W_m_K, 2.0 * width_m) == pytest.approx(2.0 * bare)
    assert behind <= bare * (1.0 + 1e-12)
    # Slabs in series: resistances add.
    assert 1.0 / behind == pytest.approx(1.0 / bare + film_m / (film_W_m_K * width_m))


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan])
def test_a_flat_conductor_needs_sense(wrong: float) -> None:
    for arguments in ((wrong, 1e-3), (0.5, wrong), (0.5, 1e-3, 1e-4, wrong)):
        with pytest.raises(Unphysical):
            flat_contact_W_m_K(*arguments)


@pytest.mark.parametrize("kind", ["wire", "ribbon", "coax"])
def test_a_short_lag_from_both_sides_lets_less_on_to_the_cold(kind: str) -> None:
    lags = [Lag("shield", 0.001, "grease", "good", held) for held in ("one-side", "both-sides")]
    run = Run("run", kind, "copper-rrr-100", 10, 1e-3, LENGTHS_m, ground_plane="none", traces=4)
    run = replace(run, thickness_m=0.3e-3, centre_material="copper-rrr-100")
    one, both = (
        balance(bench_a(), [GREASED, replace(run, lags=(lag,))]).heats["run"]["platform"].middle
        for lag in lags
    )
    assert both < one
