"""The block format gives back what was packed, in few bytes, and says when it was spoilt."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.cooldowns import blocks
from server.cooldowns.blocks import HOUR_MS, Spoilt, merged, pack, unpack

HOUR = 492_000
MOMENTS = st.lists(st.integers(0, HOUR_MS - 1), min_size=1, max_size=40, unique=True).map(sorted)
ANY = st.floats(allow_nan=False, allow_infinity=False)
DECIMAL = st.integers(-(10**9), 10**9).map(lambda whole: whole / 1e4)
AWKWARD = st.sampled_from([0.0, -0.0, 5e-324, 1.7976931348623157e308, -1e300, 0.1, 2**53 + 2.0, 1e-7])


def moments(offsets: list[int]) -> blocks.Moments:
    return np.array(offsets, np.int64) + HOUR * HOUR_MS


@settings(max_examples=150)
@given(offsets=MOMENTS, draw=st.data())
def test_whatever_is_packed_comes_back_to_the_last_bit(offsets: list[int], draw: st.DataObject) -> None:
    kind = draw.draw(st.sampled_from([ANY, DECIMAL, AWKWARD]))
    values = np.array(draw.draw(st.lists(kind, min_size=len(offsets), max_size=len(offsets))))
    times, back = unpack(pack(moments(offsets), values), HOUR)
    assert (times == moments(offsets)).all()
    assert (back == values).all()


def test_an_hour_of_a_thermometer_once_a_second_takes_two_bytes_a_reading_or_less() -> None:
    """Four decimals with noise in the last two: what a readout writes (common practice, no source)."""
    random = np.random.default_rng(1)
    values = np.round(3.2 + 0.001 * random.standard_normal(3600), 4)
    block = pack(moments(list(range(0, HOUR_MS, 1000))), values)
    assert len(block) < 2 * 3600
    assert unpack(block, HOUR)[1].tolist() == values.tolist()


def test_pressures_over_eight_decades_in_one_hour_are_kept_exactly() -> None:
    values = np.array([float(f"{1013 * 10 ** (-n / 4):.3e}") for n in range(36)])
    assert unpack(pack(moments(list(range(36))), values), HOUR)[1].tolist() == values.tolist()


@pytest.mark.parametrize("offsets", [[], [5, 5], [7, 6], [0, HOUR_MS]])
def test_what_is_no_hour_of_rising_times_is_not_packed(offsets: list[int]) -> None:
    with pytest.raises(ValueError, match="block"):
        pack(moments(offsets), np.zeros(len(offsets)))


@pytest.mark.parametrize(
    "spoil", [lambda b: b[:9], lambda b: b"\x02" + b[1:], lambda b: b[:0], lambda b: b[:-3]]
)
def test_a_spoilt_block_says_so(spoil: object) -> None:
    whole = pack(moments([1, 2, 3]), np.array([1.0, 2.0, 3.0]))
    with pytest.raises(Spoilt):
        unpack(spoil(whole), HOUR)  # type: ignore[operator]


def test_laying_over_adds_what_is_new_and_tells_what_differs() -> None:
    old = (moments([0, 10, 20]), np.array([1.0, 2.0, 3.0]))
    found = merged(old, moments([5, 10, 20]), np.array([9.0, 2.0, 4.0]))
    assert (found.times_ms - HOUR * HOUR_MS).tolist() == [0, 5, 10, 20]
    assert found.values.tolist() == [1.0, 9.0, 2.0, 4.0]
    assert (found.fresh, found.before.tolist()) == (1, [3.0])
    assert (found.differing - HOUR * HOUR_MS).tolist() == [20]


def test_a_value_converted_twice_is_the_same_reading() -> None:
    """1.2e-6 mbar by way of pascal comes back with its last bit turned; the ninth digit is a change."""
    old = (moments([0, 1]), np.array([1.2e-6, 3.2]))
    turned = merged(old, moments([0, 1]), np.array([np.nextafter(1.2e-6, 1.0), 3.2 + 1e-8]))
    assert len(turned.differing) == 1
