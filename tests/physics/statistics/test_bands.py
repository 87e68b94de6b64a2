"""Bands: what is known of a number, and how that adds up."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.statistics import Band, together

finite = st.floats(-1e6, 1e6)


@st.composite
def bands(draw: st.DrawFn) -> Band:
    low, best, high = sorted(draw(st.tuples(finite, finite, finite)))
    return Band(low, best if draw(st.booleans()) else None, high)


@pytest.mark.parametrize(
    "parts", [(2.0, 1.0, 3.0), (None, None, None), (1.0, math.nan, 2.0), (3.0, None, 2.0)]
)
def test_a_band_that_cannot_be_is_refused(parts: tuple[float | None, float | None, float | None]) -> None:
    with pytest.raises(ValueError, match="band"):
        Band(*parts)


def test_more_than_has_no_upper_end_and_stays_so_in_a_sum() -> None:
    total = Band.more_than(2.0).plus(Band(1.0, 1.5, 2.0))
    assert total.low == pytest.approx(3.0)
    assert total.high is None
    assert total.best is None


def test_turning_the_sign_turns_the_ends() -> None:
    assert Band.more_than(2.0).scaled(-1.0) == Band(None, None, -2.0)


@given(bands(), bands())
def test_a_sum_contains_the_sum_of_the_middles_and_no_more_than_the_sum_of_the_ends(a: Band, b: Band) -> None:
    total = a.plus(b)
    assert total.contains(a.middle + b.middle)
    assert total.low is not None
    assert a.low is not None
    assert b.low is not None
    assert total.low >= a.low + b.low - 1e-6


@given(st.lists(bands(), min_size=1, max_size=5))
def test_the_order_of_a_sum_does_not_matter(parts: list[Band]) -> None:
    one, other = together(parts), together(parts[::-1])
    assert one.low == pytest.approx(other.low)
    assert one.high == pytest.approx(other.high)


def test_one_end_missing_leaves_no_half_width() -> None:
    assert Band.more_than(1.0).half_width is None
    assert Band(1.0, None, 3.0).half_width == 1.0
    assert Band(1.0, None, 3.0).middle == 2.0
