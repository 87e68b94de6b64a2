"""Why it is warm, how it drifts, whether it is quiet and what was inside, in a real browser."""

import io
import re
from datetime import timedelta

import numpy as np
import pytest
from playwright.sync_api import Page, ViewportSize, expect

from server.cryostats import guards
from server.db import writing
from server.laboratory.service import set_up
from tests.browser.signing import sign_in
from tests.cooldowns.telling import BEGUN, whole
from tests.cooldowns.test_diagnosis import JOINTS
from tests.factories import a_bench, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import make_person

PHONE: ViewportSize = {"width": 390, "height": 844}
HOME = "/cryostats/bench-a"
WARM = {
    "shield_K": 33.0,
    "platform_K": 7.4,
    "mount_K": 8.25,
    "sample_K": 9.0,
    "heater": "off",
    "settled": "yes",
}
CREPT_K = (3.19, 3.22, 3.25, 3.53, 3.56, 3.59)


@pytest.fixture
def steward(site: Site) -> Site:
    """Ada, and Bench A with a lid that is on by the books."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    a_bench(site.engine, ada, wire(label="Loom"), lid(label="Lid"), *JOINTS, cooler=True)
    return site


def cooled(site: Site, *bases: dict[str, object]) -> None:
    ada = make_person(site.engine, "cleo", "Cleo Cold", steward=True)
    with writing(site.engine) as session:
        bench = guards.find(session, "bench-a")
        for number, base in enumerate(bases):
            whole(session, ada, bench, BEGUN + timedelta(days=3 * number), base=base)
        session.commit()


def name_the_lid(page: Page) -> None:
    """J2: from the cooldown to the explanation, the test, and what was found."""
    sign_in(page, "ada")
    page.goto(f"{HOME}/cooldowns/1")
    page.get_by_role("link", name="Why it is as warm as it is").click()
    expect(page.get_by_role("heading", name="Why is it warm")).to_be_visible()
    expect(page.locator(".explanation").first).to_contain_text("The lid is off: Lid")
    expect(page.locator(".tests li").first).to_contain_text("photographs of the last closing")
    page.get_by_label("It was").select_option("lid-open")
    page.get_by_label("In words").fill("It lay in the drawer")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_role("heading", name="Found: Lid off or its screws missing")).to_be_visible()


def test_the_lid_that_was_off_and_not_recorded_is_found(page: Page, steward: Site) -> None:
    cooled(steward, WARM)
    page.set_viewport_size(PHONE)
    name_the_lid(page)
    assert barriers(page) == []


def test_the_lid_is_found_without_scripts_as_well(plain_page: Page, steward: Site) -> None:
    cooled(steward, WARM)
    name_the_lid(plain_page)


def test_six_cooldowns_are_told_apart_into_slope_and_event(page: Page, steward: Site) -> None:
    """J3: a slope, and an event before the fourth that nobody declared."""
    rest = {"heater": "off", "settled": "yes"}
    cooled(steward, *({"shield_K": 32.0, "platform_K": one, **rest} for one in CREPT_K))
    sign_in(page, "ada")
    page.goto(f"{HOME}/drift")
    expect(page.get_by_text("likeliest before")).to_contain_text("cooldown 4")
    expect(page.get_by_role("row", name="event before cooldown 4, not declared").first).to_be_visible()
    expect(page.locator("svg.plot-drawing")).to_be_visible()
    assert barriers(page) == []


def tone(rms_m: float) -> bytes:
    times_s = np.arange(0, 100, 1 / 500)
    values = np.random.default_rng(3).normal(0.0, 5e-9, times_s.size)
    to = io.BytesIO()
    np.save(to, values + rms_m * np.sqrt(2) * np.sin(2 * np.pi * 1.4 * times_s))
    return to.getvalue()


@pytest.mark.usefixtures("steward")
def test_a_line_at_1_4_Hz_after_a_move_is_seen_and_what_a_change_brought(page: Page) -> None:
    """J8: three records at the same place; the page of the last tells what freeing the hose brought."""
    sign_in(page, "ada")
    for rms_m, note in ((0.0, "Before the move"), (90e-9, "After the move"), (12e-9, "Hose freed")):
        page.goto(f"{HOME}/vibration-records")
        page.get_by_label("File").set_input_files(
            {"name": "x.npy", "mimeType": "application/octet-stream", "buffer": tone(rms_m)}
        )
        page.get_by_label("Unit of its values").select_option("m")
        page.get_by_label("Rate").fill("500 Hz")
        page.get_by_label("Where the sensor stood").fill("Sample")
        page.locator("[name=note]").fill(note)
        page.locator("main form button[type=submit]").click()
        expect(page.get_by_text("Kept:")).to_be_visible()
    page.get_by_role("link", name="Sample", exact=True).first.click()
    expect(page.locator("#chain")).to_contain_text("Hose freed")
    expect(page.locator("#chain")).to_contain_text("−8")
    expect(page.locator("#tones")).to_contain_text("1.4 Hz")
    assert barriers(page) == []


def test_what_was_inside_is_asked_by_day_and_taken_along(page: Page, steward: Site) -> None:
    """J10: the day, the page, the text with its reference."""
    cooled(steward, WARM)
    sign_in(page, "ada")
    page.goto("/record")
    page.get_by_label("Day").fill("2026-03-16")
    page.get_by_role("button", name="Show the record").click()
    expect(page.get_by_text("bench-a-2026-03-16-revision-1-cooldown-1-")).to_be_visible()
    expect(page.get_by_role("rowheader", name=re.compile(r"^\+1\.6"))).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="text", exact=True).click()
    assert download.value.suggested_filename.startswith("bench-a-2026-03-16-revision-1-cooldown-1-")
    assert barriers(page) == []
