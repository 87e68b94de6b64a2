"""What laws of physics refuse, said once."""

import math

import numpy as np
import pytest

from server.physics.arguments import (
    check_count,
    check_finite,
    check_fraction,
    check_not_negative,
    check_positive,
    in_kind,
)
from server.physics.errors import Unphysical


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf, np.array([1.0, -1.0])])
def test_what_must_be_above_zero_is(bad: float) -> None:
    check_positive(length_m=1e-300, width_m=np.array([1.0, 2.0]))
    with pytest.raises(Unphysical, match=r"^width_m must be a finite number above zero"):
        check_positive(length_m=1.0, width_m=bad)


@pytest.mark.parametrize("bad", [-1e-300, math.nan, math.inf, np.array([0.0, math.nan])])
def test_what_may_be_zero_is_not_below(bad: float) -> None:
    check_not_negative(length_m=0.0)
    with pytest.raises(Unphysical, match=r"^length_m must be a finite number, zero or above"):
        check_not_negative(length_m=bad)


@pytest.mark.parametrize("bad", [0.0, 1.0000001, math.nan, -0.5])
def test_a_share_is_above_zero_and_at_most_one(bad: float) -> None:
    check_fraction(share=1.0)
    with pytest.raises(Unphysical, match=r"^share must be above 0 and at most 1"):
        check_fraction(share=bad)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_number_is_finite(bad: float) -> None:
    check_finite(mismatch_m=-1.0)
    with pytest.raises(Unphysical, match=r"^mismatch_m must be a finite number"):
        check_finite(mismatch_m=bad)


@pytest.mark.parametrize("bad", [0, -1, 1.5])
def test_a_count_is_whole_and_at_least_one(bad: int) -> None:
    check_count(discs=3)
    with pytest.raises(Unphysical, match=r"^discs must be a whole number, one or above"):
        check_count(discs=bad)


def test_one_number_is_a_float_and_several_stay_an_array() -> None:
    assert isinstance(in_kind(np.array(2.0)), float)
    several = in_kind(np.array([2.0]))
    assert isinstance(several, np.ndarray)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_count_that_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(Unphysical, match=r"^discs"):
        check_count(discs=bad)  # type: ignore[arg-type]
