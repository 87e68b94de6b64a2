"""Disc springs by name."""

import pytest

from server.physics.errors import UnknownMaterial
from server.physics.mechanics.discs import disc_of_size, disc_sizes


def test_a_series_is_recognised_by_its_proportions() -> None:
    # DIN 2093: free cone over thickness about 0.4 in series A, 0.75 in B, 1.3 in C; more in the smallest.
    for name in disc_sizes():
        disc = disc_of_size(name)
        expected = {"A": 0.4, "B": 0.75, "C": 1.3}[name[0]]
        assert disc.cone_m / disc.thickness_m == pytest.approx(expected, rel=0.3), name
        assert disc.outer_m == pytest.approx(float(name[1:]) * 1e-3)


def test_a_size_nobody_makes_is_refused() -> None:
    with pytest.raises(UnknownMaterial, match="'A7'"):
        disc_of_size("A7")
