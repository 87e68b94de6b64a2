"""What is known of a cooldown: read from what a steward types, and told again as times."""

import math

import pytest

from server.cryostats import cooldown_rules
from server.cryostats.cooldown_rules import Extra
from server.errors import Refused
from server.physics import thermal
from server.physics.statistics import Band

REFERENCE = "0 295\n1 160\n2 80\n3 20\n4 3.3"
MASSES = "copper-rrr-100 3 kg"


def best_s(row: thermal.CooldownTime) -> float:
    assert row.time_s is not None
    return row.time_s.middle


def copper(mass_kg: float, *, taken_out: bool = False) -> Extra:
    return Extra("block", "block", thermal.ColdMass("copper-rrr-100", mass_kg), taken_out)


def test_a_reference_cooldown_is_told_as_it_was_read() -> None:
    known = cooldown_rules.known(cooldown_rules.read("learnt", REFERENCE, MASSES), 295.0)
    *_, base = cooldown_rules.times(known, ())
    assert base.target_K == 3.3
    assert best_s(base) == pytest.approx(4 * 3600.0, rel=1e-9)
    assert base.time_s is not None
    assert base.time_s.high == pytest.approx(4 * 3600.0 * (1 + cooldown_rules.REPEATS), rel=1e-9)


def test_a_tenth_of_what_was_cooled_costs_a_tenth_of_the_time() -> None:
    """t = m Δh / P: the time goes with the mass."""
    known = cooldown_rules.known(cooldown_rules.read("learnt", REFERENCE, MASSES), 295.0)
    added_s = cooldown_rules.delay_s(known, copper(0.3)).middle
    assert added_s == pytest.approx(0.1 * 4 * 3600.0, rel=1e-6)
    plain, more, less = (
        best_s(cooldown_rules.times(known, extra)[-1])
        for extra in ((), [copper(0.3)], [copper(0.3, taken_out=True)])
    )
    assert (more - plain, plain - less) == pytest.approx((added_s, added_s))


def test_an_ordinary_cryostat_loses_about_five_minutes_to_a_hundred_grams_of_copper() -> None:
    """100 g of copper: about 8 kJ and 5 min (common practice, no source)."""
    known = cooldown_rules.known(None, 295.0)
    assert 2.0 < cooldown_rules.delay_s(known, copper(0.1)).middle / 60.0 < 10.0
    *_, base = cooldown_rules.times(known, ())
    assert base.time_s is not None
    assert base.time_s.high is not None
    assert base.time_s.low is not None
    assert base.time_s.high > 3.0 * base.time_s.low, "nothing is known of it"


def test_points_are_used_down_to_a_little_above_their_coldest() -> None:
    known = cooldown_rules.known(cooldown_rules.read("points", "3 0\n40 30\n300 60", MASSES), 295.0)
    assert known.base_K == pytest.approx(3.15)
    assert all(row.time_s is not None for row in cooldown_rules.times(known, ()))


def test_what_has_no_specific_heat_is_a_gap_and_no_zero() -> None:
    known = cooldown_rules.known(None, 295.0)
    brass = Extra("plate", "plate", thermal.ColdMass("brass", 0.5))
    counted, gaps = cooldown_rules.sorted_out(known, [brass, copper(0.1)])
    assert [one.key for one in counted] == ["block"]
    assert "specific heat of brass" in gaps[0]


def test_a_mass_that_is_a_range_has_no_best_time() -> None:
    known = cooldown_rules.known(None, 295.0)
    vague = Extra("block", "block", thermal.ColdMass("copper-rrr-100", Band.between(0.1, 0.3)))
    assert cooldown_rules.delay_s(known, vague).best is None


@pytest.mark.parametrize(
    ("kind", "table", "masses", "field"),
    [
        ("guessed", REFERENCE, MASSES, "kind"),
        ("learnt", "0 295", MASSES, "table"),
        ("learnt", "0 295\none 20", MASSES, "table"),
        ("learnt", "0 295\nnan 20", MASSES, "table"),
        ("learnt", "0 295\n1 1e400", MASSES, "table"),
        ("learnt", "0 20\n1 295", MASSES, "table"),
        ("learnt", "1 295\n0 20", MASSES, "table"),
        ("points", "40 30\n4 1", MASSES, "table"),
        ("points", "4 -1\n300 30", MASSES, "table"),
        ("learnt", REFERENCE, "", "masses"),
        ("learnt", REFERENCE, "copper-rrr-100", "masses"),
        ("learnt", REFERENCE, "copper-rrr-100 0 kg", "masses"),
        ("learnt", REFERENCE, "copper-rrr-100 nan", "masses"),
        ("learnt", REFERENCE, "brass 3", "masses"),
        ("learnt", REFERENCE, "cheese 3", "masses"),
    ],
)
def test_what_makes_no_sense_is_told_at_its_field(kind: str, table: str, masses: str, field: str) -> None:
    with pytest.raises(Refused) as refused:
        cooldown_rules.read(kind, table, masses)
    assert list(refused.value.fields) == [field]


def test_a_basis_comes_back_from_its_row() -> None:
    basis = cooldown_rules.read("learnt", REFERENCE, MASSES)
    again = cooldown_rules.basis_of(basis.written())
    assert again == basis
    assert not math.isnan(again.table[0][0])
