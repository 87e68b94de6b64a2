"""What a person should look at, before any temperature is known."""

from dataclasses import replace

import pytest

from server.physics import thermal
from server.physics.materials import material
from server.physics.thermal import Hole, Joint, Lag, Run, Touch
from server.physics.thermal.recipe import Place
from server.physics.thermal.remarks import has_copper, remarks
from tests.physics.thermal.bench import coax, loom, phosphor_bronze_loom

HERE = Place((True, True, True, True, True), (295.0, 32.0, 3.2, 3.2, 3.2))
SHORT = replace(phosphor_bronze_loom(), ends_on="sample", lengths_m={("vessel", "shield"): 0.3})


@pytest.mark.parametrize(
    ("element", "codes"),
    [
        (phosphor_bronze_loom(), []),
        (phosphor_bronze_loom(lagged=False), ["no-lag"]),
        (loom(None), ["material-not-known"]),
        (replace(phosphor_bronze_loom(), lags=(Lag("shield", state="loose"),)), ["lag-loose"]),
        (replace(phosphor_bronze_loom(), lags=(Lag("shield"),)), ["lag-not-recorded"]),
        (replace(phosphor_bronze_loom(), lags=(Lag("shield", state="none"),)), ["lag-missing"]),
        (SHORT, ["length-not-given"]),
        (Hole("h", "not-recorded"), ["hole-not-recorded"]),
        (Touch("t", "present"), ["touch"]),
        (Joint("j", filler="dry", screws=3, screws_of=4), ["screws-missing"]),
        (Joint("j", resistance_K_W=40.0, springs=0, springs_of=4), ["springs-missing"]),
        (Joint("j"), ["joint-not-known"]),
    ],
)
def test_each_element_says_what_to_look_at(element: thermal.Element, codes: list[str]) -> None:
    assert [warning.code for warning in remarks(element, HERE)] == codes


def test_a_cryostat_without_a_shield_needs_no_lag_there() -> None:
    place = Place((True, False, True, False, False), (295.0, 32.0, 3.2, 3.2, 3.2))
    run = Run("w", "wire", "manganin", lengths_m={("vessel", "platform"): 0.5})
    assert remarks(run, place) == ()


@pytest.mark.parametrize(
    ("run", "copper"),
    [
        (loom("copper-rrr-100"), True),
        (loom("copper-etp"), True),
        (loom("phosphor-bronze"), False),
        (replace(loom("manganin"), material=material("copper-rrr-77")), True),
        (replace(loom("manganin"), material=material("phosphor-bronze")), False),
        (replace(coax("stainless-304"), centre_material="copper-rrr-50"), True),
    ],
)
def test_copper_is_known_by_name_and_by_kind(run: Run, copper: bool) -> None:
    assert has_copper(run) is copper
