"""What a configuration leaves unsaid, in the order of its weight (common practice, no source)."""

from typing import Any

from server.cryostats import forgotten
from tests.factories import EVERY_STAGE, lid, put, wire

WINDOW = {"key": "window", "kind": "window", "state": "in"}
TOUCH = {"key": "touch", "kind": "touch", "state": "checked-absent"}
JOINT = {"key": "joint", "kind": "joint", "filler": "greased"}
SOURCE = {"key": "heater", "kind": "source", "power_W": 0.0}
WHOLE = (lid(), WINDOW, TOUCH, JOINT, SOURCE)


def asked(*rows: dict[str, Any]) -> list[tuple[str, str]]:
    elements = {row["key"]: put(row) for row in rows}
    return [(row.kind, row.alter) for row in forgotten.missing(elements, EVERY_STAGE)]


def test_an_empty_configuration_is_asked_everything_lid_and_windows_first() -> None:
    assert [kind for kind, _ in asked()] == ["lid", "window", "touch", "joint", "source"]


def test_nothing_is_asked_of_one_that_says_all() -> None:
    assert asked(*WHOLE, wire()) == []


def test_a_state_that_is_not_recorded_is_asked_for_at_its_own_form() -> None:
    rows = (lid("not-recorded"), {"key": "window", "kind": "window"}, {"key": "touch", "kind": "touch"})
    assert asked(*rows, JOINT, SOURCE) == [("lid", "lid"), ("window", "window"), ("touch", "touch")]


def test_a_metal_nobody_knows_and_a_ground_plane_come_before_touches() -> None:
    ribbon = {"key": "flat", "kind": "ribbon", "material": "phosphor-bronze"}
    assert asked(*WHOLE, wire(material=None), ribbon) == [("wire", "loom"), ("ribbon", "flat")]
    assert asked(*WHOLE, ribbon | {"ground_plane": "none"}) == []


def test_coax_without_a_lag_and_a_joint_without_a_filler_are_asked_for() -> None:
    coax = {"key": "coax", "kind": "coax", "material": "stainless-304"}
    joint = {"key": "joint", "kind": "joint"}
    assert asked(lid(), WINDOW, TOUCH, joint, SOURCE, coax) == [("coax", "coax"), ("joint", "joint")]
    clamped = coax | {"lags": [{"stage": "shield", "state": "good"}], "centre_material": "stainless-304"}
    assert asked(lid(), WINDOW, TOUCH, joint | {"resistance_K_W": 40.0}, SOURCE, clamped) == []


def test_a_coax_whose_centre_nobody_named_is_asked_for_though_its_jacket_is_lagged() -> None:
    coax: dict[str, Any] = {
        "key": "coax",
        "kind": "coax",
        "material": "stainless-304",
        "lags": [{"stage": "shield", "state": "good"}],
    }
    rows = {str(each["key"]): put(each) for each in (*WHOLE, coax)}
    (row,) = forgotten.missing(rows, EVERY_STAGE)
    assert "through the dielectric alone" in row.words
    held = coax | {"attenuators": [{"stage": "shield", "attenuation_dB": 20}]}
    assert asked(*WHOLE, held) == []


def test_a_cryostat_without_a_mount_is_not_asked_for_its_joint() -> None:
    assert "joint" not in [row.kind for row in forgotten.missing({}, ("vessel", "shield", "platform"))]


def test_a_power_that_is_unknown_is_asked_for() -> None:
    assert asked(lid(), WINDOW, TOUCH, JOINT, {"key": "lamp", "kind": "source", "power_W": None}) == [
        ("source", "lamp")
    ]
