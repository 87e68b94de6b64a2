"""The pages of people, cautions and laboratory in a real browser, with scripts and without."""

import pytest
from playwright.sync_api import Page, expect

from server.db import writing
from server.laboratory.service import set_up
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import PASSWORD, make_person

pytestmark = pytest.mark.browser

PAGES = ("/account", "/people", "/people/1", "/laboratory", "/cautions", "/cautions/S12")


@pytest.fixture
def peopled(site: Site) -> Site:
    """The site with a laboratory and a steward."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        session.commit()
    make_person(site.engine, "ada", "Ada Steward", steward=True)
    return site


def sign_in(page: Page, password: str = PASSWORD, onward: str = "/account") -> None:
    page.goto(onward)
    page.get_by_label("Login").fill("ada")
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


@pytest.mark.browser
@pytest.mark.usefixtures("peopled")
@pytest.mark.parametrize("browser_page", ["page", "plain_page"])
def test_a_steward_signs_in_makes_a_link_and_a_token_and_signs_out(
    request: pytest.FixtureRequest, browser_page: str
) -> None:
    page: Page = request.getfixturevalue(browser_page)
    sign_in(page, "wrong")
    expect(page.get_by_role("alert")).to_contain_text("do not belong together")
    sign_in(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Ada Steward")
    page.get_by_label("Name of a new token").fill("logger")
    page.get_by_role("button", name="Make token").click()
    expect(page.locator("code.secret")).to_contain_text("coldstead_")
    page.locator("details.head-more summary").click()
    page.get_by_role("link", name="People").click()
    page.get_by_label("Name").fill("Eve Newcomer")
    page.get_by_role("button", name="Make a link").click()
    expect(page.locator("code.secret")).to_contain_text("/invitation/")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_text("You are signed out.")).to_be_visible()
    page.goto("/people")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")


@pytest.mark.usefixtures("peopled")
@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (390, "dark")])
def test_nothing_on_these_pages_keeps_people_out(page: Page, width: int, scheme: str) -> None:
    page.set_viewport_size({"width": width, "height": 844})
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    page.goto("/sign-in")
    found = barriers(page)
    sign_in(page)
    for address in PAGES:
        page.goto(address)
        found += [f"{address}: {barrier}" for barrier in barriers(page)]
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{address} is {wide} wide"
    assert found == []
