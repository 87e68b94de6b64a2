"""Ages in words, and which thermometer is told."""

from datetime import UTC, datetime, timedelta

import pytest

from server.cooldowns.channels_models import Channel
from server.cooldowns.readings_asked import Latest
from server.today.rules import age_words, thermometers
from server.today.views import cold_of

NOW = datetime(2026, 3, 14, 9, tzinfo=UTC)


def latest(stage: str, minutes: float | None, value: float | None, quantity: str = "temperature") -> Latest:
    channel = Channel(cryostat_id=1, name=stage, quantity=quantity, unit="K", stage=stage, made_at=NOW)
    at = None if minutes is None else NOW - timedelta(minutes=minutes)
    return Latest(channel, at, value, silent=value is None)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "just now"),
        (59, "just now"),
        (60, "1 min ago"),
        (3599, "59 min ago"),
        (3600, "1 h ago"),
        (47 * 3600, "47 h ago"),
        (49 * 3600, "2 days ago"),
    ],
)
def test_an_age_is_told_in_the_unit_a_person_would_use(seconds: int, words: str) -> None:
    assert age_words(NOW - timedelta(seconds=seconds), NOW) == words


def test_the_platform_is_told_first_and_a_present_thermometer_before_a_silent_one() -> None:
    rows = [
        latest("shield", 1, 32.0),
        latest("platform", 1, 3.4),
        latest("platform", 3000, None),
        latest("vessel", 1, 295.0),
        latest("platform", 1, 1.0, "pressure"),
    ]
    assert [(row.channel.stage, row.value) for row in thermometers(rows)] == [
        ("platform", 3.4),
        ("shield", 32.0),
    ]


def test_an_old_reading_is_never_shown_as_if_it_were_present() -> None:
    told = cold_of(latest("platform", 3 * 60, None), NOW)
    assert (told.value, told.age, told.silent) == ("", "3 h ago", True)
    never = cold_of(latest("platform", None, None), NOW)
    assert (never.value, never.age) == ("", "ever")
