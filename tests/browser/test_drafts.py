"""A draft from drawing to building in a real browser, with scripts and without; its pages keep nobody out."""

import pytest
from playwright.sync_api import Page, expect

from server.cautions.service import seed
from server.db import writing
from server.laboratory.service import set_up
from tests.browser.signing import sign_in
from tests.factories import a_bench, give_grade, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import make_person

HOME = "/cryostats/bench-a"


@pytest.fixture
def bench(site: Site) -> None:
    """Bench A with a loom and a lid; Ada the steward, and Ben who rewires."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    ben = make_person(site.engine, "ben", "Ben Member")
    slug = a_bench(site.engine, ada, wire(label="Loom"), lid(label="Lid"), cooler=True)
    give_grade(site.engine, slug, ben, 3)


def draw(page: Page) -> None:
    """Ben alters the loom, writes what it is for, and stores the draft."""
    page.goto(f"{HOME}/drafts")
    page.get_by_role("link", name="Draw a draft").first.click()
    page.get_by_text("Alter or take out what revision 1 holds").click()
    page.get_by_role("button", name="Alter Loom").click()
    page.get_by_label("How many").fill("48")
    page.get_by_label("Name of the draft").fill("Chip of the spring")
    page.get_by_label("What it is for").fill("48 lines on the chip")
    page.get_by_label("Ben Member").check()


def agree_and_build(page: Page) -> None:
    """Ben asks and says yes, Ada approves with a condition, Ben builds."""
    page.get_by_role("button", name="Store the draft").click()
    expect(page.get_by_role("heading", name="Where it stands: being drawn")).to_be_visible()
    address = page.url
    page.get_by_role("button", name="Ask for approval").click()
    page.get_by_role("button", name="Say yes to this version").click()
    sign_in(page, "ada")
    page.goto(address)
    page.get_by_label("Conditions, if any").fill("Photograph the lag")
    page.get_by_role("button", name="Approve").click()
    expect(page.get_by_role("heading", name="Where it stands: approved and frozen")).to_be_visible()
    sign_in(page, "ben")
    page.goto(address)
    expect(page.get_by_text("Photograph the lag").first).to_be_visible()
    page.get_by_role("button", name="It is built: log it as revision 2").click()
    expect(page.get_by_text("inside as approved")).to_be_visible()


@pytest.mark.usefixtures("bench")
def test_a_draft_is_drawn_agreed_to_and_built_and_its_budget_moves_while_it_is_typed(page: Page) -> None:
    sign_in(page, "ben")
    draw(page)
    expect(page.locator("#preview")).to_contain_text("24 → 48")
    agree_and_build(page)


@pytest.mark.usefixtures("bench")
def test_a_draft_is_drawn_agreed_to_and_built_without_scripts(plain_page: Page) -> None:
    sign_in(plain_page, "ben")
    draw(plain_page)
    plain_page.get_by_role("button", name="Show what it would do").click()
    expect(plain_page.locator("#preview")).to_contain_text("24 → 48")
    agree_and_build(plain_page)


@pytest.mark.usefixtures("bench")
def test_the_pages_keep_nobody_out(page: Page) -> None:
    sign_in(page, "ada")
    draw(page)
    assert barriers(page) == []
    page.get_by_role("button", name="Store the draft").click()
    expect(page.get_by_role("heading", name="Where it stands: being drawn")).to_be_visible()
    page.get_by_role("button", name="Ask for approval").click()
    assert barriers(page) == []
    for path in ("drafts", "window", "samples", "orders"):
        page.goto(f"{HOME}/{path}")
        assert barriers(page) == [], path
