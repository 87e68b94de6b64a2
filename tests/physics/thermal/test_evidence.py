"""What is shown as evidence holds, covers every mechanism, and is counted honestly."""

from collections import Counter

import pytest

from server.physics.thermal.evidence import TAGS, Evidence, all_evidence, evidence_counts

MECHANISMS = {
    "balance",
    "blankets",
    "clamping",
    "conduction",
    "cooldown",
    "cooler",
    "current",
    "gas",
    "joints",
    "lag",
    "materials",
    "openings",
    "radiation",
    "screws",
    "springs",
    "thermometers",
    "view",
    "windows",
    "wire gauge",
}


@pytest.mark.parametrize("row", [row for row in all_evidence() if row.mechanism != "materials"], ids=str)
def test_a_published_value_of_a_mechanism_is_met(row: Evidence) -> None:
    assert row.computed == pytest.approx(row.published, rel=row.tolerance)


def test_every_value_holds_within_its_own_tolerance() -> None:
    assert [row.quantity for row in all_evidence() if not row.holds] == []


def test_there_are_enough_values_of_independent_origin_over_all_mechanisms() -> None:
    counts = evidence_counts()
    assert sum(counts.values()) == len(all_evidence()) >= 120
    assert counts["independent"] >= 40
    assert {row.mechanism for row in all_evidence()} == MECHANISMS
    close = [row for row in all_evidence() if row.tag == "independent" and row.tolerance <= 0.3]
    assert len(close) >= 40
    assert sum(row.mechanism != "materials" for row in close) >= 20


def test_every_value_says_where_it_comes_from() -> None:
    for row in all_evidence():
        assert row.source
        assert row.unit
        assert row.tag in TAGS
        assert 0.0 < row.tolerance <= 1.0
        assert ("memory" in row.source.lower()) or row.tag != "memory"


def test_no_value_is_shown_twice() -> None:
    twice = [
        key
        for key, n in Counter((r.quantity, r.source, r.published) for r in all_evidence()).items()
        if n > 1
    ]
    assert twice == []


def test_a_value_that_is_off_is_seen_to_be_off() -> None:
    row = Evidence("none", "a value", 100.0, 106.0, "m", 0.05, "nowhere", "memory")
    assert row.deviation == pytest.approx(0.06)
    assert not row.holds
    assert Evidence("none", "a value", -100.0, -104.0, "m", 0.05, "nowhere", "memory").holds
