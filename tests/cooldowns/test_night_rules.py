"""Whom to call tonight, what the numbers of a cryostat say, what comes off while it warms."""

from datetime import UTC, date, datetime

import pytest

from server.cooldowns import forms, night_rules
from server.cooldowns.forms import Here
from server.cooldowns.night_rules import USUAL_DONTS, Contact, Numbers, Seen, held_against

RULE = Numbers(go_Pa=0.5, restart_Pa=0.5, longest_stop_s=1200.0)
MAREN, JORY, LODGE = (
    Contact("Maren", "2141", "restart", 0, "01234"),
    Contact("Jory", "2177", "restart", 0, "56"),
    Contact("Lodge", "2000", "look", 10),
)


@pytest.mark.parametrize(
    ("moment", "night"),
    [
        (datetime(2026, 11, 25, 22, 0, tzinfo=UTC), date(2026, 11, 25)),
        (datetime(2026, 11, 26, 2, 7, tzinfo=UTC), date(2026, 11, 25)),
        (datetime(2026, 11, 26, 10, 59, tzinfo=UTC), date(2026, 11, 25)),
        (datetime(2026, 11, 26, 11, 0, tzinfo=UTC), date(2026, 11, 26)),
    ],
)
def test_a_night_lasts_from_noon_to_noon_on_the_laboratorys_clock(moment: datetime, night: date) -> None:
    """Vienna is an hour ahead of UTC in November, so noon there is 11:00 UTC."""
    assert night_rules.night_of(moment, "Europe/Vienna") == night


def test_the_roster_of_a_night_is_those_whose_night_it_is_in_their_order() -> None:
    wednesday, saturday = date(2026, 11, 25), date(2026, 11, 28)
    assert [row.name for row in night_rules.tonight([MAREN, JORY, LODGE], [], wednesday)] == [
        "Maren",
        "Lodge",
    ]
    assert [row.name for row in night_rules.tonight([MAREN, JORY, LODGE], [], saturday)] == ["Jory", "Lodge"]


def test_of_two_swaps_of_one_night_the_newer_counts() -> None:
    swaps = [("Maren", "Sabe", "2150"), ("Maren", "Jory", "2177")]
    found = night_rules.tonight([MAREN, LODGE], swaps, date(2026, 11, 25))
    assert [(row.name, row.phone, row.instead_of) for row in found] == [
        ("Jory", "2177", "Maren"),
        ("Lodge", "2000", ""),
    ]


def test_without_a_rule_nobody_starts_it_again() -> None:
    for numbers in (None, Numbers(go_Pa=0.5)):
        assert held_against(numbers, 1e-5, 60.0).against


@pytest.mark.parametrize(
    ("pressure_Pa", "stopped_s", "against", "unknown"),
    [
        (0.4, 600.0, 0, 0),
        (0.6, 600.0, 1, 0),
        (0.4, 1980.0, 1, 0),
        (0.6, 1980.0, 2, 0),
        (None, 600.0, 0, 1),
        (None, None, 0, 2),
    ],
)
def test_the_rule_names_what_speaks_against_and_what_is_not_known(
    pressure_Pa: float | None, stopped_s: float | None, against: int, unknown: int
) -> None:
    found = held_against(RULE, pressure_Pa, stopped_s)
    assert (len(found.against), len(found.unknown)) == (against, unknown)


def test_the_numbers_are_refused_where_they_cannot_be() -> None:
    assert night_rules.number_faults(RULE) == {}
    assert "restart_Pa" in night_rules.number_faults(Numbers(restart_Pa=-1.0))
    assert "restarts_itself" in night_rules.number_faults(Numbers(restarts_itself="perhaps"))
    assert "dont.0" in night_rules.number_faults(Numbers(donts=(*USUAL_DONTS, "And another")))
    assert "dont.0" in night_rules.number_faults(Numbers(donts=("One", "", "Three")))


@pytest.mark.parametrize(
    ("contact", "field"),
    [
        (Contact("", "2141"), "contact.0.name"),
        (Contact("Maren", "none"), "contact.0.phone"),
        (Contact("Maren", "2141", "command"), "contact.0.may"),
        (Contact("Maren", "2141", "look", 9999), "contact.0.after_min"),
        (Contact("Maren", "2141", "look", 0, ""), "contact.0.nights"),
        (Contact("Maren", "2141", "look", 0, "9"), "contact.0.nights"),
        (Contact("x" * 100, "2141"), "contact.0.name"),
    ],
)
def test_a_contact_nobody_can_call_is_refused(contact: Contact, field: str) -> None:
    assert field in night_rules.contact_faults([contact])


def test_a_name_stands_on_a_roster_once() -> None:
    assert "contact.1.name" in night_rules.contact_faults([MAREN, Contact("maren ", "2141")])


def test_gas_comes_off_coldest_first_and_water_last() -> None:
    """Most of the burst between 15 and 40 K, water only above about 100 K (from memory)."""
    found = night_rules.gas_by_temperature()
    assert [row.low_K for row in found] == sorted(row.low_K for row in found)
    air = next(row for row in found if row.words.startswith("Air"))
    assert 15 <= air.low_K < air.high_K <= 40
    assert found[-1].words == "Water"
    assert found[-1].low_K > 100


def test_a_record_of_the_night_needs_what_was_seen() -> None:
    assert list(night_rules.seen_faults(Seen(""))) == ["seen"]
    assert "pressure_Pa" in night_rules.seen_faults(Seen("stands", pressure_Pa=-1.0))
    assert night_rules.seen_faults(Seen("stands")) == {}


@pytest.mark.parametrize(
    ("clock", "now", "moment"),
    [
        ("03:07", datetime(2026, 11, 26, 2, 40, tzinfo=UTC), datetime(2026, 11, 26, 2, 7, tzinfo=UTC)),
        ("23:50", datetime(2026, 11, 25, 23, 30, tzinfo=UTC), datetime(2026, 11, 25, 22, 50, tzinfo=UTC)),
        # Clocks went back from 03:00 to 02:00 on 25 October 2026: half past two came twice.
        ("2:30", datetime(2026, 10, 25, 0, 50, tzinfo=UTC), datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("2:30", datetime(2026, 10, 25, 1, 50, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)),
    ],
)
def test_a_clock_alone_is_the_last_time_it_showed_that(clock: str, now: datetime, moment: datetime) -> None:
    from server.web.forms import Form

    faults: dict[str, str] = {}
    form = Form([("stopped_at", clock)])
    assert forms.moment(form, "stopped_at", Here("Europe/Vienna", now), faults) == moment
    assert faults == {}


@pytest.mark.parametrize("text", ["25:00", "soon", "3:7", "\x00", "9" * 400])
def test_a_time_that_cannot_be_read_is_told_at_its_field(text: str) -> None:
    from server.web.forms import Form

    faults: dict[str, str] = {}
    now = datetime(2026, 11, 26, tzinfo=UTC)
    forms.moment(Form([("at", text)]), "at", Here("Europe/Vienna", now), faults)
    assert faults or not text.strip("\x00")
