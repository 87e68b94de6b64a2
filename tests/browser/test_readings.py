"""Readings in a browser: a log file taken in, with and without scripts; a plot that one comes closer to."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from server.cooldowns import readings, readings_files
from server.cryostats import guards
from server.db import writing
from server.laboratory.service import set_up
from tests.cooldowns.bench import AFTER, PLATFORM, SHIELD, S, a_channel
from tests.factories import a_cryostat, somebody
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import PASSWORD

pytestmark = pytest.mark.browser
BEGUN = datetime(2026, 3, 14, 10, tzinfo=UTC)
ROWS = "\n".join(f"2026-03-14 15:{n // 60:02d}:{n % 60:02d};{31 + n / 100:.2f};3,2" for n in range(300))
LOG = f"time;Shield [K];Platform [K]\n{ROWS}\n".replace(".", ",").encode()


@pytest.fixture
def home(site: Site) -> str:
    """The readings of a cryostat with two channels, one of which has readings."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        ada, cryostat = somebody(session), a_cryostat(session)
        for wanted in (PLATFORM, SHIELD):
            a_channel(session, ada, cryostat, wanted)
        times = S - 7200.0 + 10.0 * np.arange(600)
        sent: dict[str, tuple[Any, Any]] = {"Shield": (times, np.linspace(300, 31, 600))}
        readings.store(session, ada, cryostat, sent, AFTER)
        session.commit()
        return f"/cryostats/{guards.find(session, cryostat.slug).slug}/readings"


def sign_in(page: Page, then: str) -> None:
    page.goto("/sign-in")
    page.fill("[name=login]", "ada")
    page.fill("[name=password]", PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.goto(then)


def send(page: Page) -> None:
    page.set_input_files("[name=file]", {"name": "night.csv", "mimeType": "text/csv", "buffer": LOG})
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_text("semicolon, with a decimal comma")).to_be_visible()
    expect(page.get_by_text("600 new.")).to_be_visible()


def test_a_log_file_goes_in_by_itself_where_scripts_run(
    page: Page, home: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings_files, "CELLS_AT_ONCE", 100)
    sign_in(page, home)
    assert barriers(page) == []
    send(page)
    assert barriers(page) == []
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("heading", name="All of it is taken in")).to_be_visible()
    expect(page.get_by_text("300 of 300 lines; 600 readings were new")).to_be_visible()


def test_a_log_file_goes_in_step_by_step_without_scripts(
    plain_page: Page, home: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings_files, "CELLS_AT_ONCE", 300)
    sign_in(plain_page, home)
    send(plain_page)
    plain_page.get_by_role("button", name="Take it in").click()
    expect(plain_page.get_by_text("150 of 300 lines")).to_be_visible()
    plain_page.get_by_role("button", name="Go on").click()
    expect(plain_page.get_by_role("heading", name="All of it is taken in")).to_be_visible()


def test_drawing_across_a_plot_comes_closer(page: Page, home: str) -> None:
    sign_in(page, f"{home}/plot?channel=2&from=2026-03-14T10:00:00Z&to=2026-03-14T12:00:00Z")
    assert barriers(page) == []
    box = page.locator(".plot-drawing").bounding_box()
    assert box is not None
    y = box["y"] + 100
    page.mouse.move(box["x"] + 0.3 * box["width"], y)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], y, steps=4)
    page.mouse.up()
    page.wait_for_url(lambda address: "to=2026-03-14T12" not in address)
    ends = [found.replace("%3A", ":") for found in re.findall(r"(?:from|to)=([^&]+)", page.url)]
    begin, end = map(datetime.fromisoformat, ends)
    assert BEGUN < begin < end < BEGUN + timedelta(minutes=100)


def test_a_plot_is_there_without_scripts(plain_page: Page, home: str) -> None:
    sign_in(plain_page, f"{home}/plot?channel=2&from=2026-03-14T10:00:00Z&to=2026-03-14T12:00:00Z")
    expect(plain_page.locator(".plot-curve")).to_have_count(1)
    plain_page.get_by_role("link", name="Closer").click()
    expect(plain_page.locator(".plot-curve")).to_have_count(1)


def test_a_silence_is_written_down_as_a_fault_by_looking(page: Page, home: str) -> None:
    sign_in(page, home)
    expect(page.get_by_text("It is written down as a fault")).to_be_visible()
    expect(page.get_by_text("no reading since").first).to_be_visible()
