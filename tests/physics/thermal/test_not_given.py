"""What nobody gave leaves a wide band and what is known of the rest; it does not make an element vanish."""

from dataclasses import replace

import pytest

from server.physics.thermal import Lid, balance, document
from tests.physics.thermal.bench import GREASED, bench_a, best, phosphor_bronze_loom

LOOM = phosphor_bronze_loom()


def test_a_stretch_without_a_length_leaves_what_the_rest_brings() -> None:
    whole = balance(bench_a(), [GREASED, LOOM])
    half = balance(bench_a(), [GREASED, replace(LOOM, lengths_m={("vessel", "shield"): 0.30})])
    assert half.gaps == ()
    assert half.heats["loom"]["shield"].middle == pytest.approx(best(whole.heats["loom"]["shield"]), rel=0.15)
    low_W, high_W = half.heats["loom"]["platform"].low, half.heats["loom"]["platform"].high
    known_W = best(whole.heats["loom"]["platform"])
    # 0.15 m is known to be within 0.10 to 1.0 m.
    assert low_W is not None
    assert high_W is not None
    assert low_W < known_W < high_W
    told = [warning.text for warning in half.warnings if warning.code == "length-not-given"]
    assert told == ["No length is given from the shield to the platform: it counts as 0.1 to 1 m."]


def test_an_unknown_current_is_a_band_with_none_at_its_low_end() -> None:
    ribbon = replace(LOOM, kind="ribbon", ground_plane="none")
    for run in (LOOM, ribbon):
        without, found = (balance(bench_a(), [GREASED, replace(run, current_A=I_A)]) for I_A in (0.0, None))
        assert found.gaps == ()
        heat_W, least_W = found.heats["loom"]["shield"], without.heats["loom"]["shield"].middle
        assert heat_W.low is not None
        assert heat_W.low < least_W * 1.001
        assert heat_W.middle > least_W


def test_a_shield_without_any_lid_entered_is_remarked() -> None:
    def codes(*elements: Lid) -> list[str]:
        return [warning.code for warning in balance(bench_a(), [GREASED, *elements]).warnings]

    assert "lid-not-recorded" in codes()
    assert "lid-not-recorded" not in codes(Lid("lid", "on"))
    no_shield = bench_a(stages=("vessel", "platform", "sample"))
    assert "lid-not-recorded" not in [warning.code for warning in balance(no_shield, [GREASED]).warnings]


def test_a_fault_is_told_in_numbers_a_person_reads() -> None:
    (gap,) = balance(bench_a(), [GREASED, replace(LOOM, diameter_m=1.0)]).gaps
    assert gap.reason == "Diameter must be between 0.000005 and 0.03 m."
    with pytest.raises(document.BadDocument) as caught:
        document.read_element({"kind": "wire", "key": "w", "diameter_m": 1.0})
    assert caught.value.faults["diameter_m"] == gap.reason
