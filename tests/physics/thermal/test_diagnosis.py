"""A cause that was put in is named, with its size; what cannot be told apart is named together."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.physics.errors import Unphysical
from server.physics.thermal import Lid, Touch, temperatures
from server.physics.thermal.diagnosis import Diagnosis, Explanation, Reading, diagnose
from server.physics.thermal.suspects import CAUSES, scale, suspects, varied
from tests.physics.thermal.hidden_causes import NAMES, SIGMA, builds, covers, hide, place_of

BUILD = builds(4, 1)[0]


def read(**shifts: float) -> dict[str, Reading]:
    """What the witnesses read when they are shifted so, without noise."""
    return {
        name: Reading(BUILD.expected[name] + shifts.get(name, 0.0), float(sigma))
        for name, sigma in zip(NAMES, SIGMA, strict=True)
    }


def told(**shifts: float) -> Diagnosis:
    return diagnose(BUILD.cryostat, BUILD.elements, read(**shifts))


def causes_of(explanation: Explanation) -> set[str]:
    """Causes that cannot be told from the one that leads."""
    return {suspect.cause for fitted in explanation.causes for suspect in fitted.alike}


def test_all_as_expected_is_nothing_wrong() -> None:
    first = told().explanations[0]
    assert first.causes == ()
    assert first.known
    assert first.probability > 0.9


def test_a_touch_that_was_put_in_is_named_with_its_conductance() -> None:
    inside = Touch("scrap", "present", "vessel", "shield", 0.02)
    [found] = temperatures(BUILD.cryostat, [[*BUILD.elements, inside]])
    shifts = {stage: found[stage] - BUILD.expected[stage] for stage in ("shield", "platform", "sample")}
    first = told(**shifts).explanations[0]
    [fitted] = first.causes
    assert fitted.suspect.key == "touch:vessel-shield"
    assert fitted.size is not None
    assert fitted.size.low is not None
    assert fitted.size.high is not None
    assert fitted.size.low < 0.02 < fitted.size.high


def test_a_warm_sample_alone_is_a_joint_or_a_thermometer() -> None:
    """Nothing that brings heat warms the sample and leaves the platform: a joint, or a wrong reading."""
    assert causes_of(told(sample=0.5).explanations[0]) == {"joint-worse", "thermometer-wrong"}


def test_a_pressure_that_rose_puts_gas_first() -> None:
    inside = varied(BUILD.elements, next(one for one in BUILD.suspects if one.cause == "gas"), 0.01)
    [found] = temperatures(BUILD.cryostat, [inside])
    shifts = {stage: found[stage] - BUILD.expected[stage] for stage in ("shield", "platform", "sample")}
    assert causes_of(told(**shifts, pressure=math.log1p(0.01 / 3e-5)).explanations[0]) == {"gas"}


def test_the_same_warmth_without_pressure_is_no_gas() -> None:
    inside = varied(BUILD.elements, next(one for one in BUILD.suspects if one.cause == "gas"), 0.01)
    [found] = temperatures(BUILD.cryostat, [inside])
    shifts = {stage: found[stage] - BUILD.expected[stage] for stage in ("shield", "platform", "sample")}
    assert all("gas" not in causes_of(one) for one in told(**shifts).explanations if one.probability > 0.01)


def test_a_slow_cooldown_tells_a_weak_cooler_from_heat_left_on() -> None:
    """Both warm the platform alike; only a weak cooler takes longer to get there."""
    warm = {"platform": 0.3, "sample": 0.3}
    assert {"cooler-weaker", "heat-left-on"} <= causes_of(told(**warm).explanations[0])
    assert causes_of(told(**warm, cooldown=0.25).explanations[0]) != causes_of(told(**warm).explanations[0])


def test_what_nothing_here_explains_is_not_named() -> None:
    """A shield colder than it can be, and a platform that does not follow in any way a cause gives."""
    first = told(shield=-4.0, platform=2.0, sample=-1.5, cooldown=-0.9).explanations[0]
    assert not first.known
    assert first.causes == ()


def test_a_cause_found_often_here_comes_before_its_like() -> None:
    readings = read(sample=0.5)
    often = diagnose(
        BUILD.cryostat, BUILD.elements, readings, often={"thermometer-wrong": 500.0}
    ).explanations[0]
    assert often.causes[0].suspect.cause == "thermometer-wrong"
    assert causes_of(often) == {"joint-worse", "thermometer-wrong"}


def test_what_this_cryostat_usually_reads_is_no_fault() -> None:
    found = diagnose(
        BUILD.cryostat,
        BUILD.elements,
        read(platform=0.2, sample=0.2),
        offsets_K={"platform": 0.2, "sample": 0.2},
    )
    assert found.explanations[0].causes == ()


def test_hidden_causes_are_named_and_their_sizes_held() -> None:
    rng = np.random.default_rng(12)
    cases = [hide(rng, BUILD, count) for count in (1, 1, 1, 1, 1, 1, 2, 2)]
    found = [diagnose(one.build.cryostat, one.build.elements, one.readings).explanations for one in cases]
    assert sum(place_of(one, some) in (0, 1, 2) for one, some in zip(cases, found, strict=True)) >= 7
    held = [inside for one, some in zip(cases, found, strict=True) for inside in covers(one, some)]
    assert np.mean(held) >= 0.8


def test_probabilities_are_those_of_everything_at_most() -> None:
    found = told(platform=0.1, shield=1.0).explanations
    assert sum(one.probability for one in found) <= 1.0 + 1e-9
    assert [one.probability for one in found] == sorted((one.probability for one in found), reverse=True)


def test_what_each_cause_leaves_unexplained_is_told() -> None:
    found = told(sample=0.5, pressure=0.4).explanations
    joint = next(one for one in found if causes_of(one) == {"joint-worse", "thermometer-wrong"})
    assert joint.left_sigmas["pressure"] == pytest.approx(2.0, abs=0.1)
    assert abs(joint.left_sigmas["sample"]) < 1.0


def test_a_wrong_thermometer_that_was_not_read_is_no_suspect() -> None:
    readings = read(platform=0.3)
    del readings["sample"]
    found = diagnose(BUILD.cryostat, BUILD.elements, readings)
    named = {suspect.key for one in found.explanations for fit in one.causes for suspect in fit.alike}
    assert "thermometer-wrong:platform" in named
    assert "thermometer-wrong:sample" not in named


@pytest.mark.parametrize(
    "readings",
    [
        {},
        {"mood": Reading(1.0, 0.1)},
        {"platform": Reading(float("nan"), 0.1)},
        {"platform": Reading(3.0, 0.0)},
        {"platform": Reading(3.0, -1.0)},
    ],
)
def test_readings_that_mean_nothing_are_refused(readings: dict[str, Reading]) -> None:
    with pytest.raises(Unphysical):
        diagnose(BUILD.cryostat, BUILD.elements, readings)


def test_a_stage_the_balance_says_nothing_of_is_refused() -> None:
    alone = tuple(one for one in BUILD.elements if one.kind != "joint" and one.key != "light")
    with pytest.raises(Unphysical, match="sample"):
        diagnose(BUILD.cryostat, alone, read())


def test_every_cause_has_suspects_and_every_suspect_a_size_or_none() -> None:
    found = suspects(BUILD.cryostat, BUILD.elements)
    assert {one.cause for one in found} == set(CAUSES)
    assert len({one.key for one in found}) == len(found)
    for one in found:
        sizes = scale(one, 5)
        assert list(sizes) == sorted(sizes)
        assert len(sizes) == (5 if one.sizes else 1)


def test_a_lid_that_is_off_already_is_not_missed() -> None:
    lid = next(one for one in BUILD.elements if isinstance(one, Lid))
    others = [one for one in BUILD.elements if one is not lid]
    found = suspects(BUILD.cryostat, [*others, replace(lid, state="off")])
    assert "lid-missing" not in {one.cause for one in found}
