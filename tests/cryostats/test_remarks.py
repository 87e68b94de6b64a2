"""What a person hears about an element before it is logged."""

import pytest

from server.cryostats.remarks import remarks
from server.cryostats.rules import Put


def joint(**data: object) -> Put:
    return Put("mount", "joint", {"screw_diameter_m": 0.003, **data})


def test_a_measured_resistance_is_doubted_when_the_joint_was_made_anew() -> None:
    before = joint(filler="greased", resistance_K_W=20.0)
    assert "older" in remarks(before, joint(filler="dry", resistance_K_W=20.0))[0]
    assert remarks(before, joint(filler="dry", resistance_K_W=300.0)) == []
    assert remarks(before, joint(filler="greased", resistance_K_W=20.0, cold_stage="mount")) == []


def test_a_torque_that_would_yield_the_strongest_screw_is_named() -> None:
    """5 in·lbf is ordinary on a 3 mm screw (common practice, no source); 5 N·m is nine times that."""
    assert "yield" in remarks(None, joint(torque_N_m=5.0))[0]
    assert remarks(None, joint(torque_N_m=5 * 0.1129848)) == []


@pytest.mark.parametrize("data", [{}, {"torque_N_m": None}, {"torque_N_m": [0.4, 0.7]}])
def test_an_unknown_torque_says_nothing(data: dict[str, object]) -> None:
    assert remarks(None, joint(**data)) == []
