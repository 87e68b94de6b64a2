"""What a cooldown may be and what follows from its entries."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.cooldowns import rules
from server.cooldowns.entry_kinds import KINDS
from server.cooldowns.models import Cooldown, CooldownEntry
from server.cooldowns.rules import Beginning, Go

BEGUN = datetime(2026, 3, 28, 20, tzinfo=UTC)
STAGES = ("shield", "platform", "mount", "sample")


def cooldown(**more: Any) -> Cooldown:
    return Cooldown(id=1, cryostat_id=1, number=1, begun_at=BEGUN, recorded_at=BEGUN, by_name="Ada", **more)


def entry(kind: str, hours: float, number: int, takes_back: int | None = None, **data: Any) -> CooldownEntry:
    at = BEGUN + timedelta(hours=hours)
    return CooldownEntry(
        id=number,
        cooldown_id=1,
        kind=kind,
        at=at,
        data=data,
        takes_back=takes_back,
        recorded_at=at,
        by_name="",
    )


def test_a_usual_band_holds_the_middle_eighty_in_a_hundred() -> None:
    """The 10th and 90th of 1 … 11 by linear interpolation, as R's default quantile (type 7) gives them."""
    found = rules.usual([float(value) for value in range(1, 12)])
    assert found is not None
    assert (found.low, found.median, found.high, found.count) == (2.0, 6.0, 10.0, 11)


def test_only_the_last_twenty_are_usual() -> None:
    found = rules.usual([1000.0] * 30 + [1.0] * 20)
    assert found is not None
    assert (found.median, found.high, found.count) == (1.0, 1.0, 20)


def test_few_make_a_median_and_no_band() -> None:
    found = rules.usual([1.0, 3.0])
    assert found is not None
    assert (found.median, found.low, found.judged(99.0)) == (2.0, None, "no band yet")
    assert rules.usual([]) is None


@given(st.lists(st.floats(0.1, 1e6), min_size=5, max_size=40))
def test_the_median_lies_in_its_band(values: list[float]) -> None:
    found = rules.usual(values)
    assert found is not None
    assert found.low is not None
    assert found.high is not None
    assert found.low <= found.median * (1 + 1e-12)
    assert found.median <= found.high * (1 + 1e-12)


@pytest.mark.parametrize(
    ("pressure_Pa", "limit_Pa", "verdict"),
    [(0.4, 0.5, "go"), (0.5, 0.5, "go"), (0.6, 0.5, "no-go"), (0.4, None, "no number")],
)
def test_the_number_of_this_cryostat_says_go_or_no_go(
    pressure_Pa: float, limit_Pa: float | None, verdict: str
) -> None:
    assert Go(pressure_Pa, limit_Pa).verdict == verdict


def test_nobody_begins_to_cool_without_a_pressure() -> None:
    assert "pressure_Pa" in rules.go_faults(Beginning(None), 0.5)
    assert "pressure_Pa" in rules.go_faults(Beginning(-1.0), 0.5)
    assert rules.go_faults(Beginning(0.3), 0.5) == {}


def test_above_the_number_a_reason_is_asked_for() -> None:
    assert "despite" in rules.go_faults(Beginning(0.7), 0.5)
    assert rules.go_faults(Beginning(0.7, despite="Gauge reads high, second gauge 3e-3 mbar"), 0.5) == {}


def test_pumping_is_timed_between_readings_on_a_line_of_the_logarithm() -> None:
    """From 1000 to 10 Pa in two hours: 100 Pa lies half-way on the logarithm."""
    rows = [entry("pressure", 1, 1, pressure_Pa=1000.0), entry("pressure", 3, 2, pressure_Pa=10.0)]
    assert rules.levels_s(BEGUN, rows) == {100.0: pytest.approx(2 * 3600.0), 10.0: pytest.approx(3 * 3600.0)}


def test_a_rate_of_rise_is_what_was_gained_over_the_wait() -> None:
    assert rules.rise_Pa_s({"from_Pa": 0.5, "to_Pa": 2.0, "wait_s": 600.0}) == pytest.approx(0.0025)


def test_an_entry_taken_back_no_longer_counts() -> None:
    rows = [
        entry("pressure", 1, 1, pressure_Pa=5.0),
        entry("taken-back", 2, 2, takes_back=1),
        entry("pressure", 3, 3, pressure_Pa=6.0),
    ]
    assert [row.id for row in rules.counting(rows)] == [3]


def test_of_two_marks_the_one_written_last_holds() -> None:
    row = cooldown(started_at=BEGUN)
    rows = [
        entry("mark", 3, 2, stage="shield", target="100"),
        entry("mark", 2, 1, stage="shield", target="100"),
    ]
    assert [mark.took_s for mark in rules.marks(row, rows)] == [3 * 3600.0]


def test_marks_count_real_hours_through_a_change_of_the_clock() -> None:
    """In Vienna clocks went from 02:00 to 03:00 on 29 March 2026 (EU Directive 2000/84/EC)."""
    from server.web.forms import Form

    form = Form([("start", "2026-03-28 23:00"), ("mark", "2026-03-29 04:00")])
    start, reached = (form.moment(name, "Europe/Vienna") for name in ("start", "mark"))
    assert start is not None
    assert reached is not None
    mark = entry("mark", 0, 1, stage="platform", target="100")
    mark.at = reached
    found = rules.marks(cooldown(started_at=start), [mark])
    assert found[0].took_s == 4 * 3600.0


def test_thermometers_far_apart_when_warm_are_doubted() -> None:
    assert rules.doubts([entry("warm-sensors", 0, 1, shield_K=295.0, platform_K=295.4)]) == ()
    found = rules.doubts([entry("warm-sensors", 0, 1, shield_K=295.0, platform_K=297.1)])
    assert "2.1 K apart" in found[0]


def test_a_sample_colder_than_what_cools_it_is_doubted() -> None:
    assert rules.doubts([entry("base", 5, 1, platform_K=3.2, mount_K=3.3, sample_K=3.4)]) == ()
    assert "sample reads colder" in rules.doubts([entry("base", 5, 1, mount_K=3.3, sample_K=2.1)])[0]


WARMING = {"started_at": BEGUN, "warming_at": BEGUN}
AIRED = {"lowest_K": 294.0, "oxygen": 0.209, "relief_free": "yes"}


@pytest.mark.parametrize("lacking", ["lowest_K", "oxygen", "relief_free"])
def test_letting_in_gas_needs_the_thermometers_the_oxygen_and_the_relief(lacking: str) -> None:
    data = {name: value for name, value in AIRED.items() if name != lacking}
    assert list(rules.entry_faults("vented", data, "", cooldown(**WARMING), STAGES)) == [lacking]
    assert rules.entry_faults("vented", AIRED, "", cooldown(**WARMING), STAGES) == {}


@pytest.mark.parametrize(("name", "value"), [("lowest_K", 270.0), ("relief_free", "no")])
def test_letting_in_gas_is_not_written_down_while_it_is_cold_or_the_relief_blocked(
    name: str, value: Any
) -> None:
    assert name in rules.entry_faults("vented", {**AIRED, name: value}, "", cooldown(**WARMING), STAGES)


@pytest.mark.parametrize(
    ("kind", "data", "field"),
    [
        ("flight", {}, "kind"),
        ("pressure", {}, "pressure_Pa"),
        ("pressure", {"pressure_Pa": -3.0}, "pressure_Pa"),
        ("pressure", {"pressure_Pa": 1e300}, "pressure_Pa"),
        ("pressure", {"pressure_Pa": True}, "pressure_Pa"),
        ("pressure", {"pressure_Pa": 1.0, "colour": "blue"}, "colour"),
        ("rise", {"from_Pa": 2.0, "to_Pa": 1.0, "wait_s": 60.0}, "to_Pa"),
        ("rise", {"from_Pa": 1.0, "to_Pa": 2.0, "wait_s": 0.0}, "wait_s"),
        ("base", {"heater": "off", "settled": "yes"}, "shield_K"),
        ("base", {"platform_K": 3.2, "settled": "yes"}, "heater"),
        ("base", {"platform_K": 0.0, "heater": "off", "settled": "yes"}, "platform_K"),
        ("mark", {"stage": "vessel", "target": "100"}, "stage"),
        ("mark", {"stage": "shield", "target": "77"}, "target"),
        ("remark", {}, "note"),
    ],
)
def test_an_entry_that_cannot_be_is_refused_at_its_field(kind: str, data: dict[str, Any], field: str) -> None:
    assert field in rules.entry_faults(kind, data, "", cooldown(started_at=BEGUN), STAGES)


def test_a_stage_this_cryostat_lacks_is_refused() -> None:
    data = {"sample_K": 4.0, "heater": "off", "settled": "yes"}
    found = rules.entry_faults("base", data, "", cooldown(started_at=BEGUN), ("shield", "platform"))
    assert found == {"sample_K": "This cryostat has no sample"}


@given(
    kind=st.sampled_from([*KINDS, "x"]),
    data=st.dictionaries(
        st.sampled_from(["pressure_Pa", "stage", "target", "heater", "settled", "shield_K", "lowest_K", "x"]),
        st.one_of(st.none(), st.text(max_size=4), st.floats(), st.integers(), st.lists(st.integers())),
    ),
    note=st.text(max_size=5),
)
def test_whatever_is_sent_is_answered_field_by_field(kind: str, data: dict[str, Any], note: str) -> None:
    found = rules.entry_faults(kind, data, note, cooldown(started_at=BEGUN), STAGES)
    assert all(found.values())
