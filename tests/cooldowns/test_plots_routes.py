"""The page of a plot, its drawing and its table."""

import csv
import io
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.cooldowns import readings
from server.cryostats import guards
from server.db import now, writing
from server.people.models import Person
from tests.cooldowns.bench import PLATFORM, VACUUM, S, a_channel
from tests.factories import a_bench

SPRING = datetime(2026, 3, 29, 0, 0, tzinfo=UTC).timestamp()
"""An hour before the clock goes forward in Vienna."""


@pytest.fixture
def home(app: FastAPI, steward: Person) -> str:
    """A cryostat with readings on two days."""
    slug = a_bench(app.state.engine, steward)
    with writing(app.state.engine) as session:
        cryostat = guards.find(session, slug)
        for wanted in (PLATFORM, VACUUM):
            a_channel(session, steward, cryostat, wanted)
        for start in (S, SPRING):
            times = start + 60.0 * np.arange(180)
            sent: dict[str, tuple[Any, Any]] = {
                "Platform": (times, np.linspace(300, 3, 180)),
                "Vacuum": (times, [1e-6] * 180),
            }
            readings.store(session, steward, cryostat, sent, now())
        session.commit()
    return f"/cryostats/{slug}/readings"


def test_without_a_word_it_is_the_last_day_of_all_channels(member_client: TestClient, home: str) -> None:
    page = member_client.get(f"{home}/plot").text
    assert page.count('class="plot-curve"') == 2
    assert "K, by decades" in page
    assert "300 K" in page
    assert "data-zoom=" in page


def test_a_stretch_over_the_clock_change_is_labelled_on_the_laboratorys_clock(
    member_client: TestClient, home: str
) -> None:
    ends = {"from": "2026-03-29 01:00", "to": "2026-03-29 05:00"}
    page = member_client.get(f"{home}/plot", params={"channel": "1", **ends}).text
    assert ">01:30</text>" in page
    assert ">03:00</text>" in page
    assert ">02:00</text>" not in page
    assert page.count('class="plot-curve"') == 1


def test_the_drawing_is_svg_of_its_own_and_shut_in(member_client: TestClient, home: str) -> None:
    answer = member_client.get(f"{home}/plot.svg")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "sandbox" in answer.headers["content-security-policy"]
    assert ET.fromstring(answer.text).tag.endswith("svg")  # noqa: S314 - made by us a moment ago


@pytest.mark.parametrize(("style", "mark"), [("comma", ","), ("semicolon", ";"), ("tab", "\t")])
def test_the_table_has_every_reading_in_utc(
    member_client: TestClient, home: str, style: str, mark: str
) -> None:
    params = {"channel": "1", "from": "2026-03-14T12:00:00Z", "to": "2026-03-14T12:10:00Z", "style": style}
    text = member_client.get(f"{home}/plot.csv", params=params).text.removeprefix("\ufeff")
    rows = list(csv.reader(io.StringIO(text), delimiter=mark))
    assert rows[0] == ["time (UTC)", "channel", "value", "unit"]
    assert len(rows) == 11
    assert rows[1] == [
        "2026-03-14T12:00:00.000Z",
        "Platform",
        "300,0" if style == "semicolon" else "300.0",
        "K",
    ]


@pytest.mark.parametrize(
    ("params", "field"),
    [
        ({"from": "soon"}, "from"),
        ({"to": "later"}, "to"),
        ({"from": "2026-03-15 10:00", "to": "2026-03-14 10:00"}, "to"),
        ({"from": "1990-03-15 10:00", "to": "2026-03-14 10:00"}, "from"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_beside_a_plot_that_can(
    member_client: TestClient, home: str, params: dict[str, str], field: str
) -> None:
    answer = member_client.get(f"{home}/plot", params=params)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text


@pytest.mark.parametrize(
    "params",
    [
        {"channel": "99"},
        {"channel": "9" * 30},
        {"axis": "polar"},
        {"from": "9999-12-31 23:59"},
        {"from": "0001-01-01 00:00"},
    ],
)
def test_absurd_questions_have_an_answer(
    member_client: TestClient, home: str, params: dict[str, str]
) -> None:
    assert member_client.get(f"{home}/plot", params=params).status_code in (200, 404, 422)


def test_a_cryostat_without_channels_says_so(
    app: FastAPI, member_client: TestClient, steward: Person
) -> None:
    slug = a_bench(app.state.engine, steward)
    assert "No reading in this stretch" in member_client.get(f"/cryostats/{slug}/readings/plot").text
    assert member_client.get(f"/cryostats/{slug}/readings/plot.csv").status_code == 200


def test_the_ways_on_lead_to_other_times(member_client: TestClient, home: str) -> None:
    page = member_client.get(f"{home}/plot", params={"channel": "1"}).text
    earlier = next(part for part in page.split('href="') if ">Earlier<" in part).split('"')[0]
    assert member_client.get(earlier.replace("&amp;", "&")).status_code == 200


def test_nobody_comes_in_without_signing_in(client: TestClient, home: str) -> None:
    assert client.get(f"{home}/plot").status_code == 303
    assert client.get(f"{home}/plot.csv").status_code == 303
