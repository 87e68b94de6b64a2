"""The band of a conductivity holds its extension and every set that was published."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.materials import material, materials
from server.physics.materials.library import read_entry

CONDUCTORS = materials("conductivity")

# Points that other authors measured or tabulated, W/(m K) against K, and the default they disagree with.
# Sources: Reese and Tucker, J. Chem. Phys. 43 (1965) 105; Olson, Cryogenics 33 (1993) 729; a wire maker's
# table; the NIST database fit of polyimide; Umezawa and Ishikawa, Cryogenics 32 (1992); cartridge brass,
# from memory; the NIST fit of 304 read at 1 K, where it has no data.
OTHER_SETS = {
    "ptfe": {1.1: 0.00409, 2.01: 0.0102, 3.01: 0.0197, 3.95: 0.0314},
    "cupro-nickel-70-30": {1.098: 0.0701, 1.546: 0.0962, 2.23: 0.151, 2.755: 0.204},
    "phosphor-bronze": {1.0: 0.22, 4.0: 1.6, 10.0: 4.6, 20.0: 10.0, 80.0: 25.0, 150.0: 34.0, 300.0: 48.0},
    "polyimide": {4.0: 0.01079, 10.0: 0.02345, 77.0: 0.1255, 300.0: 0.1919},
    "titanium-6al-4v": {4.06: 0.358, 10.4: 0.989, 23.7: 2.08, 41.6: 3.27, 64.1: 4.35},
    "brass": {100.0: 75.0, 200.0: 95.0, 300.0: 110.0},
    "stainless-304": {1.0: 0.039},
    "niobium-titanium": {1.01: 0.0129, 2.06: 0.0401, 3.0: 0.243, 4.0: 0.43},
}
POINTS = [(name, T_K, k) for name, points in OTHER_SETS.items() for T_K, k in points.items()]


@pytest.mark.parametrize(("name", "T_K", "other_W_m_K"), POINTS)
def test_a_value_of_another_published_set_lies_in_the_band(name: str, T_K: float, other_W_m_K: float) -> None:
    ours_W_m_K = material(name).conductivity_W_m_K(T_K)
    low, high = material(name).uncertainty_of_integral(T_K, T_K)
    assert low * ours_W_m_K * 0.999 <= other_W_m_K <= high * ours_W_m_K * 1.001


def test_sets_that_disagree_near_300_K_widen_the_unlagged_wire_and_not_the_lagged_one() -> None:
    # Common practice, no source: below 80 K phosphor bronzes agree within 10-25 %, near 300 K by two.
    wire = material("phosphor-bronze")
    low_cold, high_cold = wire.uncertainty_of_integral(4.0, 35.0)
    low_all, high_all = wire.uncertainty_of_integral(4.0, 300.0)
    assert low_cold > 0.85
    assert high_cold < 1.15
    assert low_all < 0.70
    assert high_all < 1.15


@pytest.mark.parametrize(
    ("default", "low_set", "high_set"),
    [
        ("phosphor-bronze", "phosphor-bronze-low", "phosphor-bronze-high"),
        ("polyimide", "polyimide-low", "polyimide-high"),
    ],
)
def test_where_two_sets_disagree_the_default_is_the_cautious_one(
    default: str, low_set: str, high_set: str
) -> None:
    integrals = [
        material(name).conductivity_integral_W_m(4.0, 300.0) for name in (low_set, default, high_set)
    ]
    assert integrals[0] < integrals[1]
    assert integrals[1] == pytest.approx(integrals[2], rel=1e-9)


@pytest.mark.parametrize("name", CONDUCTORS)
def test_the_uncertainty_is_never_smaller_where_the_data_end(name: str) -> None:
    about = material(name).about("conductivity")
    given_for = np.atleast_2d(read_entry(name)["conductivity"]["uncertainty"])
    if given_for.shape[1] == 2:
        knots_K, relative = given_for.T
        for inside_K, outside_K in zip(about.range_K, about.covered_K, strict=True):
            inner, outer = np.interp(np.log([inside_K, outside_K]), np.log(knots_K), relative)
            assert outer >= inner


@given(
    name=st.sampled_from(CONDUCTORS),
    cold_K=st.floats(1.0, 310.0),
    hot_K=st.floats(1.0, 310.0),
)
def test_the_band_holds_the_value_and_is_the_same_either_way(name: str, cold_K: float, hot_K: float) -> None:
    low, high = material(name).uncertainty_of_integral(cold_K, hot_K)
    assert 0.0 < low <= 1.0 <= high < 20.0
    assert material(name).uncertainty_of_integral(hot_K, cold_K) == pytest.approx((low, high), rel=1e-6)


def test_the_band_of_many_ranges_is_the_band_of_each() -> None:
    wire = material("phosphor-bronze")
    cold_K, hot_K = np.array([4.0, 4.0, 35.0]), np.array([35.0, 300.0, 35.0])
    low, high = wire.uncertainty_of_integral(cold_K, hot_K)
    for place, ends in enumerate(zip(cold_K, hot_K, strict=True)):
        one = wire.uncertainty_of_integral(float(ends[0]), float(ends[1]))
        assert (low[place], high[place]) == pytest.approx(one, rel=1e-9)


@pytest.mark.parametrize("name", CONDUCTORS)
def test_an_extension_continues_the_curve_without_a_step(name: str) -> None:
    solid = material(name)
    cold_K, hot_K = solid.about("conductivity").covered_K
    for corner_K in solid.corners_K("conductivity"):
        below_K, above_K = max(cold_K, corner_K * (1 - 1e-6)), min(hot_K, corner_K * (1 + 1e-6))
        ratio = solid.conductivity_W_m_K(above_K) / solid.conductivity_W_m_K(below_K)
        assert ratio == pytest.approx(1.0, abs=1e-3), corner_K
