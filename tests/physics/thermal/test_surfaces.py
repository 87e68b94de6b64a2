"""Emissivities against the tables they come from."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.errors import OutOfRange, UnknownMaterial
from server.physics.thermal.surfaces import emissivity, finish, finishes

# Kutz (ed.), Mechanical Engineers' Handbook vol. 4, Table 5.
HANDBOOK = [
    ("polished-aluminium", 300.0, 0.08),
    ("polished-aluminium", 77.8, 0.03),
    ("aluminium-foil", 300.0, 0.03),
    ("aluminium-foil", 77.8, 0.018),
    ("aluminium-foil", 4.33, 0.011),
    ("polished-copper", 300.0, 0.03),
    ("polished-copper", 77.8, 0.019),
    ("polished-copper", 4.33, 0.015),
    ("nickel-copper-alloy", 300.0, 0.17),
    ("nickel-copper-alloy", 77.8, 0.11),
    ("polished-stainless", 300.0, 0.15),
    ("polished-stainless", 77.8, 0.061),
    ("bright-plated", 300.0, 0.022),
    ("bright-plated", 300.0, 0.017),
    ("bright-plated", 77.3, 0.0083),
]
# Lebrun's lecture notes, from memory: 290 K radiation on 77 K, 77 K radiation on 4.2 K.
LECTURE = [
    ("bare-stainless", 77.0, 0.34),
    ("bare-stainless", 4.2, 0.12),
    ("polished-stainless", 77.0, 0.12),
    ("polished-stainless", 4.2, 0.07),
    ("as-machined-aluminium", 77.0, 0.12),
    ("as-machined-aluminium", 4.2, 0.07),
    ("polished-aluminium", 77.0, 0.10),
    ("polished-aluminium", 4.2, 0.06),
    ("bare-copper", 77.0, 0.12),
    ("bare-copper", 4.2, 0.06),
    ("polished-copper", 77.0, 0.06),
    ("polished-copper", 4.2, 0.02),
]


@pytest.mark.parametrize(("name", "temperature_K", "published"), HANDBOOK + LECTURE)
def test_the_band_of_a_finish_holds_what_was_published(
    name: str, temperature_K: float, published: float
) -> None:
    assert emissivity(name, temperature_K).contains(published)


@given(st.sampled_from(finishes()), st.floats(1.0, 309.0))
def test_every_emissivity_is_possible_and_rises_with_temperature(name: str, temperature_K: float) -> None:
    cold, warm = emissivity(name, temperature_K), emissivity(name, temperature_K + 1.0)
    assert cold.low is not None
    assert cold.high is not None
    assert 0.0 < cold.low < cold.high <= 1.0
    assert cold.middle <= warm.middle + 1e-12


def test_bright_metal_is_brighter_than_handled_metal_than_tape() -> None:
    # Common practice, no source: plated under one per cent cold, handled 3 to 10, tape 80 to 95.
    plated, handled, tape = (
        emissivity(n, 77.0).middle for n in ("bright-plated", "handled-metal", "tape-varnish-paint")
    )
    assert plated < 0.01
    assert 0.03 < handled < 0.10
    assert 0.8 < tape < 0.95


def test_an_unknown_surface_covers_every_other() -> None:
    for temperature_K in (4.0, 77.0, 300.0):
        unknown = emissivity("unknown", temperature_K)
        assert unknown.best is None
        assert all(unknown.contains(emissivity(name, temperature_K).middle) for name in finishes())


def test_every_finish_says_where_it_comes_from() -> None:
    for name in finishes():
        about = finish(name)
        assert about.describes
        assert about.source
        assert about.confidence in {"B", "C", "D"}
        assert about.confidence == "B" or "memory" in about.source


@pytest.mark.parametrize("bad", [0.5, 311.0, math.nan, -4.0])
def test_a_temperature_outside_the_table_is_refused(bad: float) -> None:
    with pytest.raises(OutOfRange, match="310 K"):
        emissivity("glass", bad)


def test_a_finish_nobody_knows_is_refused() -> None:
    with pytest.raises(UnknownMaterial, match="'shiny'"):
        emissivity("shiny", 77.0)
