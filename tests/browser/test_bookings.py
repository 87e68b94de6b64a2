"""Asking for cold hours in a real browser, with scripts and without: a slot is taken and cancelled."""

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from server.cryostats import guards, instruments
from server.db import now, writing
from server.laboratory.service import set_up
from server.people.service import CommandLine
from tests.browser.signing import sign_in
from tests.factories import a_bench, give_grade, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import make_person

pytestmark = pytest.mark.browser
HOME = "/cryostats/bench-a"


@pytest.fixture
def bench(site: Site) -> None:
    """Bench A, cold; Ada the steward, and Ben who rewires."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    ben = make_person(site.engine, "ben", "Ben Member")
    slug = a_bench(site.engine, ada, wire(label="Loom"), lid(label="Lid"), cooler=True)
    give_grade(site.engine, slug, ben, 3)
    with writing(site.engine) as session:
        at = now() - timedelta(hours=1)
        instruments.enter_state(session, CommandLine(), guards.find(session, slug), "cold", at, "", now())
        session.commit()


def ask(page: Page) -> None:
    page.goto("/plan")
    page.get_by_role("link", name="Ask for Bench A").click()
    page.get_by_label("Cold hours").fill("10")
    page.get_by_label("What for").fill("Noise of the gate")
    page.get_by_label("Temperature wanted (K)").fill("4")
    page.get_by_role("button", name="Find slots").click()
    expect(page.get_by_role("heading", name="Slot 2: cold from")).to_be_visible()
    expect(page.get_by_role("heading", name="What it will reach")).to_be_visible()


def take_see_and_cancel(page: Page) -> None:
    """The second slot becomes a booking on the plan, and is cancelled on a page that says what that means."""
    page.get_by_role("button", name="Take slot 2").click()
    expect(page.get_by_role("heading", name="Ben Member on Bench A")).to_be_visible()
    expect(page.get_by_text("Noise of the gate")).to_be_visible()
    address = page.url
    day = (page.locator("time").first.get_attribute("datetime") or "")[:10]
    page.goto(f"/plan?view=month&from={day}")
    expect(page.get_by_role("link", name="Ben Member: Noise of the gate").last).to_be_visible()
    page.goto(address)
    page.get_by_role("link", name="Cancel it").click()
    expect(page.get_by_text("What it costs now")).to_be_visible()
    page.get_by_label("Why, for those").fill("No chip")
    page.get_by_role("button", name="Cancel booking 1").click()
    expect(page.get_by_text("Cancelled. It stays in the book.")).to_be_visible()
    expect(page.get_by_text("No chip")).to_be_visible()


@pytest.mark.usefixtures("bench")
def test_the_second_slot_is_taken_seen_and_cancelled(page: Page) -> None:
    sign_in(page, "ben")
    ask(page)
    take_see_and_cancel(page)


@pytest.mark.usefixtures("bench")
def test_the_same_without_scripts(plain_page: Page) -> None:
    sign_in(plain_page, "ben")
    ask(plain_page)
    take_see_and_cancel(plain_page)


@pytest.mark.usefixtures("bench")
def test_the_plan_is_walked_with_the_keyboard_and_keeps_nobody_out(page: Page) -> None:
    sign_in(page, "ada")
    ask(page)
    assert barriers(page) == []
    page.get_by_role("button", name="Take slot 1").click()
    assert barriers(page) == []
    page.goto("/plan")
    block = page.locator("a.plan-block").first
    block.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Ada Steward on Bench A")).to_be_visible()
    for path in (
        "/plan",
        "/plan?view=month",
        "/plan?view=list",
        "/plan/rules",
        "/plan/shares",
        f"{HOME}/holds",
    ):
        page.goto(path)
        assert barriers(page) == [], path


@pytest.mark.usefixtures("bench")
def test_on_a_phone_the_list_says_it_and_nothing_is_pushed_aside(page: Page) -> None:
    sign_in(page, "ada")
    ask(page)
    page.get_by_role("button", name="Take slot 1").click()
    page.set_viewport_size({"width": 390, "height": 800})
    for path in ("/plan", page.url, f"{HOME}/book?cold_hours=10&purpose=x", f"{HOME}/holds", "/plan/rules"):
        page.goto(path)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide == 0, path
    page.goto("/plan")
    expect(page.locator(".plan-drawn")).to_be_hidden()
    expect(page.get_by_role("link", name="Ada Steward: Noise of the gate")).to_be_visible()
