"""Where adding up one by one does not hold, everything is drawn at once."""

import pytest

from server.physics import thermal
from server.physics.statistics import Band
from server.physics.thermal import Source, Support, balance, budgeting, sampled
from server.physics.thermal.state import find_state
from server.physics.thermal.unsure import changes_of, influences
from tests.physics.thermal.bench import GREASED, bench_a, phosphor_bronze_loom

STRAPS = [
    Support(f"strap {n}", "copper-rrr-100", 1, Band(2e-8, 1e-7, 3e-7), 0.15, "shield", "platform")
    for n in (1, 2, 3)
]


def test_little_is_added_up_and_much_is_drawn() -> None:
    builds: list[list[thermal.Element]] = [[GREASED, phosphor_bronze_loom()], [GREASED, *STRAPS]]
    drawn = []
    for build in builds:
        state = find_state(bench_a(), build)
        drawn.append(sampled.must_sample(state, influences(state, changes_of(state))))
    assert drawn == [False, True]


def test_draws_agree_with_adding_up_where_that_holds() -> None:
    sources = [Source(f"s{n}", power_W=Band(0.018, 0.02, 0.022)) for n in range(4)]
    state = find_state(bench_a(), [GREASED, *sources])
    changes = changes_of(state)
    found = influences(state, changes)
    spread = budgeting.temperature_spread(state, found)
    low_K, high_K = sampled.sampled_ends_K(state, changes, found)
    assert state.T_K[2] - low_K[2] == pytest.approx(spread.down[0, 2], rel=0.15)
    assert high_K[2] - state.T_K[2] == pytest.approx(spread.up[0, 2], rel=0.15)


def test_the_same_question_has_the_same_answer() -> None:
    one, other = (balance(bench_a(), [GREASED, *STRAPS]).temperatures["platform"] for _ in range(2))
    assert one == other
    assert one.contains(one.middle)


def test_what_one_material_gets_wrong_is_drawn_once_for_all_of_it() -> None:
    state = find_state(bench_a(), [GREASED, *STRAPS])
    found = influences(state, changes_of(state))
    shared = [n for n, row in enumerate(found.shared.tolist()) if row >= 0]
    drawn = sampled.drawn_alike(found, found.causes.group.tolist(), found.causes.count)
    assert len(shared) == 3
    assert (drawn[:, shared[0]] == drawn[:, shared[2]]).all()
    assert (drawn[:, shared[0]] == drawn[:, shared[1]]).all()
    assert not (drawn[:, 0] == drawn[:, 1]).all()
