"""Leads with current: closed forms, the law of Wiedemann and Franz, and a boundary value problem."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_bvp

from server.physics.errors import NoData, NoSteadyState, OutOfRange, Unphysical
from server.physics.materials import Material, constant_material, material, table_material
from server.physics.thermal.leads import current_lead, optimum_lead


def wiedemann_franz(lorenz_W_ohm_K2: float, like: str | None = None) -> Material:
    """A metal with kρ = L₀T: of constant conductivity, or of that of another material."""
    T_K = np.geomspace(1.0, 310.0, 2000)
    k = np.full_like(T_K, 400.0) if like is None else material(like).conductivity_W_m_K(T_K)
    return table_material(
        "metal",
        T_K.tolist(),
        k.tolist(),
        source="the law of Wiedemann and Franz",
        relative_uncertainty=0.0,
        resistivity_ohm_m=(lorenz_W_ohm_K2 * T_K / k).tolist(),
    )


# q_min/I = (L0 (Th² − Tc²))^½, recomputed.
@pytest.mark.parametrize(
    ("lorenz_W_ohm_K2", "hot_K", "cold_K", "expected_mW_A"),
    [
        (2.44e-8, 300.0, 4.0, 46.857),
        (2.44e-8, 77.0, 4.0, 12.012),
        (2.44e-8, 300.0, 40.0, 46.443),
        (2.44e-8, 40.0, 4.0, 6.217),
        (2.443e-8, 300.0, 4.0, 46.886),
    ],
)
def test_the_best_lead_of_a_metal_that_keeps_the_law_of_wiedemann_and_franz(
    lorenz_W_ohm_K2: float, hot_K: float, cold_K: float, expected_mW_A: float
) -> None:
    lead = optimum_lead(wiedemann_franz(lorenz_W_ohm_K2), 1.0, cold_K, hot_K)
    assert lead.cold_end_W * 1e3 == pytest.approx(expected_mW_A, rel=1e-4)


def test_a_pair_of_leads_drops_the_published_voltage() -> None:
    # Kadin, arXiv cond-mat/0508697: 3.6 k T/e, 93.07 mV at 300 K, which is a pair of leads, not one.
    pair_V = 2.0 * optimum_lead(wiedemann_franz(2.44e-8), 1.0, 4.0, 300.0).cold_end_W
    assert pair_V == pytest.approx(93.07e-3, rel=0.01)


# I L/A of the optimum with the NIST fit of copper (ratio 100) and kρ = L0 T, recomputed.
@pytest.mark.parametrize(
    ("hot_K", "cold_K", "expected_A_m"),
    [(300.0, 77.0, 3.459e6), (300.0, 4.0, 5.622e6), (300.0, 40.0, 4.143e6), (77.0, 4.0, 1.095e7)],
)
def test_the_shape_of_the_best_lead_with_the_law_of_wiedemann_and_franz(
    hot_K: float, cold_K: float, expected_A_m: float
) -> None:
    lead = optimum_lead(wiedemann_franz(2.443e-8, "copper-rrr-100"), 1.0, cold_K, hot_K)
    assert lead.length_over_area_per_m == pytest.approx(expected_A_m, rel=0.01)


# NIST conductivity with the resistivity of NIST Monograph 177 (its coefficients from memory), recomputed.
@pytest.mark.parametrize(
    ("hot_K", "cold_K", "expected_mW_A", "expected_A_m"),
    [(300.0, 4.0, 43.43, 5.93e6), (300.0, 77.0, 42.41, 3.60e6), (77.0, 4.0, 9.34, 1.44e7)],
)
def test_the_best_lead_of_real_copper(
    hot_K: float, cold_K: float, expected_mW_A: float, expected_A_m: float
) -> None:
    lead = optimum_lead("copper-rrr-100", 1.0, cold_K, hot_K)
    assert lead.cold_end_W * 1e3 == pytest.approx(expected_mW_A, rel=0.02)
    assert lead.length_over_area_per_m == pytest.approx(expected_A_m, rel=0.02)


def test_the_best_lead_still_conducts_three_quarters_when_switched_off() -> None:
    best = optimum_lead("copper-rrr-100", 1.0, 4.0, 300.0)
    off = current_lead("copper-rrr-100", best.length_over_area_per_m, 0.0, 4.0, 300.0)
    assert off.cold_end_W * 1e3 == pytest.approx(32.77, rel=0.01)


def test_constant_properties_share_the_joule_heat_between_the_ends() -> None:
    # k = 400 W/(m K), rho = 1e-8 ohm m, 1 mm2, 1 m, 5 A, 300 to 4 K: closed form, recomputed with a BVP.
    lead = current_lead(constant_material(400.0, 1e-8), 1e6, 5.0, 4.0, 300.0)
    assert lead.cold_end_W == pytest.approx(0.24340, abs=1e-5)
    assert lead.hot_end_W == pytest.approx(-0.00660, abs=1e-5)


@given(
    conductivity=st.floats(1.0, 1e3),
    resistivity=st.floats(1e-9, 1e-6),
    shape_per_m=st.floats(1e4, 1e8),
    overload=st.floats(0.01, 3.0),
    ends_K=st.tuples(st.floats(2.0, 310.0), st.floats(2.0, 310.0)),
)
def test_constant_properties_follow_the_closed_form(
    conductivity: float, resistivity: float, shape_per_m: float, overload: float, ends_K: tuple[float, float]
) -> None:
    cold_K, hot_K = sorted(ends_K)
    best_A = np.sqrt(2.0 * conductivity * max(hot_K - cold_K, 1.0) / resistivity) / shape_per_m
    current_A = overload * best_A
    lead = current_lead(constant_material(conductivity, resistivity), shape_per_m, current_A, cold_K, hot_K)
    conducted_W = conductivity * (hot_K - cold_K) / shape_per_m
    half_joule_W = current_A**2 * resistivity * shape_per_m / 2.0
    scale_W = conducted_W + half_joule_W
    assert lead.cold_end_W == pytest.approx(conducted_W + half_joule_W, rel=1e-6)
    assert lead.hot_end_W == pytest.approx(conducted_W - half_joule_W, abs=1e-5 * scale_W)


@pytest.mark.parametrize(
    ("name", "load", "cold_K", "hot_K"),
    [
        ("copper-rrr-100", 0.7, 4.0, 300.0),
        ("copper-rrr-50", 1.02, 4.0, 290.0),
        ("copper-rrr-300", 0.6, 4.0, 80.0),
        ("brass", 0.8, 4.0, 300.0),
        ("phosphor-bronze", 0.3, 4.0, 300.0),
        ("phosphor-bronze", 1.2, 4.0, 35.0),
        ("manganin", 1.1, 4.0, 40.0),
    ],
)
def test_a_lead_agrees_with_a_boundary_value_problem(
    name: str, load: float, cold_K: float, hot_K: float
) -> None:
    current_A = 1.0
    shape_per_m = load * optimum_lead(name, current_A, cold_K, hot_K).length_over_area_per_m
    solid = material(name)
    # In the heat potential, the integral of k from the cold end, the two equations are almost straight.
    # Scaled to the lead: s from 0 at the hot end to 1, potential and heat in units of those without current.
    T_K = np.geomspace(*solid.about("conductivity").covered_K, 20_000)
    potential = solid.conductivity_integral_W_m(np.full_like(T_K, cold_K), T_K)
    across = solid.conductivity_integral_W_m(cold_K, hot_K)
    unit_W = across / shape_per_m

    def slopes(_: object, state: np.ndarray) -> np.ndarray:
        resistivity = solid.resistivity_ohm_m(np.interp(state[0] * across, potential, T_K))
        return np.array([-state[1], current_A**2 * resistivity * shape_per_m / unit_W])

    def ends(hot: np.ndarray, cold: np.ndarray) -> np.ndarray:
        return np.array([hot[0] - 1.0, cold[0]])

    s = np.linspace(0.0, 1.0, 400)
    solved = solve_bvp(slopes, ends, s, np.array([1.0 - s, np.ones_like(s)]), tol=1e-8, max_nodes=50_000)
    assert solved.success
    lead = current_lead(solid, shape_per_m, current_A, cold_K, hot_K)
    assert lead.cold_end_W == pytest.approx(solved.y[1, -1] * unit_W, rel=2e-5)
    assert lead.hot_end_W == pytest.approx(solved.y[1, 0] * unit_W, abs=2e-5 * lead.cold_end_W)
    peak_K = np.interp(solved.y[0].max() * across, potential, T_K)
    assert lead.peak_K == pytest.approx(peak_K, rel=2e-5)


LEADS = st.sampled_from(["copper-rrr-50", "copper-rrr-100", "phosphor-bronze", "brass", "manganin"])


@settings(deadline=None)
@given(name=LEADS, load=st.floats(0.05, 1.03), ends_K=st.tuples(st.floats(2.0, 20.0), st.floats(30.0, 300.0)))
def test_the_first_integral_holds_for_every_length(
    name: str, load: float, ends_K: tuple[float, float]
) -> None:
    # q_c² = q_h² + 2 I² ∫ kρ dT.
    cold_K, hot_K = ends_K
    solid = material(name)
    shape_per_m = load * optimum_lead(solid, 1.0, cold_K, hot_K).length_over_area_per_m
    try:
        lead = current_lead(solid, shape_per_m, 1.0, cold_K, hot_K)
    except NoSteadyState:
        return
    corners = {*solid.corners_K("conductivity"), *solid.corners_K("resistivity")}
    edges = [cold_K, *sorted(T for T in corners if cold_K < T < hot_K), hot_K]
    joule = sum(
        quad(lambda T: solid.conductivity_W_m_K(T) * solid.resistivity_ohm_m(T), a, b)[0]
        for a, b in pairwise(edges)
    )
    assert lead.cold_end_W**2 - lead.hot_end_W**2 == pytest.approx(2.0 * joule, rel=1e-6)
    assert lead.cold_end_W >= optimum_lead(solid, 1.0, cold_K, hot_K).cold_end_W * (1.0 - 1e-9)


@given(name=LEADS, share=st.floats(0.1, 0.9), more=st.floats(1.01, 1.5))
def test_more_current_brings_more_heat_to_the_cold_end_and_takes_less_from_the_hot_one(
    name: str, share: float, more: float
) -> None:
    shape_per_m = optimum_lead(name, 1.0, 4.0, 290.0).length_over_area_per_m
    less = current_lead(name, shape_per_m, share / more, 4.0, 290.0)
    heavier = current_lead(name, shape_per_m, share, 4.0, 290.0)
    assert heavier.cold_end_W > less.cold_end_W
    assert heavier.hot_end_W < less.hot_end_W


@given(name=LEADS, length=st.floats(1e5, 1e7))
def test_without_current_a_lead_just_conducts(name: str, length: float) -> None:
    lead = current_lead(name, length, 0.0, 4.0, 300.0)
    assert lead.cold_end_W == lead.hot_end_W
    assert lead.cold_end_W * length == pytest.approx(material(name).conductivity_integral_W_m(4.0, 300.0))
    tiny = current_lead(name, length, 1e-9, 4.0, 300.0)
    assert tiny.cold_end_W == pytest.approx(lead.cold_end_W, rel=1e-5)


def test_turned_round_the_same_lead_has_the_same_ends() -> None:
    lead = current_lead("brass", 1e6, 0.05, 4.0, 300.0)
    turned = current_lead("brass", 1e6, -0.05, 300.0, 4.0)
    assert (turned.cold_end_W, turned.hot_end_W) == (-lead.hot_end_W, -lead.cold_end_W)


def test_between_equal_ends_half_the_heat_goes_each_way() -> None:
    lead = current_lead("manganin", 1e7, 0.001, 4.0, 4.0)
    assert lead.cold_end_W == pytest.approx(-lead.hot_end_W)
    assert lead.cold_end_W == pytest.approx(0.5 * 0.001**2 * 4.38e-7 * 1e7, rel=0.01)


def test_a_superconductor_carries_current_without_joule_heat() -> None:
    with_current = current_lead("niobium-titanium", 1e7, 0.1, 3.0, 8.0)
    without = current_lead("niobium-titanium", 1e7, 0.0, 3.0, 8.0)
    assert with_current.cold_end_W == pytest.approx(without.cold_end_W, rel=1e-5)


def test_a_lead_just_beyond_the_best_finds_its_narrow_steady_state() -> None:
    # Pure copper from 80 K: the interior may be a degree or two above the hot end, and no more.
    best = optimum_lead("copper-rrr-300", 1.0, 4.0, 80.0)
    lead = current_lead("copper-rrr-300", 1.018 * best.length_over_area_per_m, 1.0, 4.0, 80.0)
    assert 80.0 < lead.peak_K < 82.0
    with pytest.raises(NoSteadyState):
        current_lead("copper-rrr-300", 1.03 * best.length_over_area_per_m, 1.0, 4.0, 80.0)


def test_a_lead_that_would_overheat_has_no_steady_state() -> None:
    with pytest.raises(NoSteadyState, match="overheat"):
        current_lead("copper-rrr-100", 7e6, 1.0, 4.0, 300.0)


def test_ends_outside_the_data_are_refused() -> None:
    with pytest.raises(OutOfRange):
        current_lead("copper-rrr-100", 1e6, 1.0, 0.5, 300.0)
    with pytest.raises(OutOfRange):
        optimum_lead("copper-rrr-100", 1.0, 4.0, 320.0)


def test_a_material_without_resistivity_cannot_be_told_with_current_but_without() -> None:
    with pytest.raises(NoData):
        current_lead("ptfe", 1e6, 0.1, 4.0, 300.0)
    assert current_lead("ptfe", 1e6, 0.0, 4.0, 300.0).cold_end_W > 0.0


@pytest.mark.parametrize(
    ("shape_per_m", "current_A", "cold_K"),
    [(0.0, 1.0, 4.0), (-1.0, 1.0, 4.0), (float("nan"), 1.0, 4.0), (1e6, float("nan"), 4.0), (1e6, 1.0, -4.0)],
)
def test_what_no_lead_can_be_is_refused(shape_per_m: float, current_A: float, cold_K: float) -> None:
    with pytest.raises(Unphysical):
        current_lead("copper-rrr-100", shape_per_m, current_A, cold_K, 300.0)


@pytest.mark.parametrize(("current_A", "cold_K", "hot_K"), [(0.0, 4.0, 300.0), (1.0, 300.0, 4.0)])
def test_there_is_no_best_lead_for_no_current_or_no_difference(
    current_A: float, cold_K: float, hot_K: float
) -> None:
    with pytest.raises(Unphysical):
        optimum_lead("copper-rrr-100", current_A, cold_K, hot_K)
