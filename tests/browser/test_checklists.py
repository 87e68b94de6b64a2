"""The list before closing on a phone, with one line that is not right; and without scripts."""

import re

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from server.cautions.service import seed
from server.db import writing
from server.laboratory.service import set_up
from tests.factories import a_bench, give_grade, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import PASSWORD, make_person

HOME = "/cryostats/bench-a/checklists"
PHONE: ViewportSize = {"width": 390, "height": 844}
GLOVED_PX = 44
"""WCAG 2.2, success criterion 2.5.5 (enhanced): a target has 44 by 44 CSS pixels."""
SMALLEST = """() => Math.min(...[...document.querySelectorAll(
  '.line-form button, .line-form summary, .line-form input:not([type=hidden]):not([type=checkbox])')]
  .filter(e => e.checkVisibility()).map(e => e.getBoundingClientRect().height))"""


@pytest.fixture
def bench(site: Site) -> None:
    """Bench A with a loom and a lid, and Ben, who opens it."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    ben = make_person(site.engine, "ben", "Ben Member")
    slug = a_bench(site.engine, ada, wire(label="Loom"), lid(label="Lid"))
    give_grade(site.engine, slug, ben, 2)


def begin(page: Page) -> None:
    page.set_default_timeout(8000)
    page.goto("/sign-in")
    page.get_by_label("Login").fill("ben")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda address: "sign-in" not in address)
    page.goto(HOME)
    page.get_by_role("button", name=re.compile("Begin.*Before closing")).click()
    expect(page.get_by_role("heading", name="Before closing", exact=True)).to_be_visible()


def answer(page: Page, number: int) -> None:
    """One line: what it asks for is filled in, then one tap."""
    line = page.locator(f"#line-{number}")
    if line.get_by_label("Write down").count():
        line.get_by_label("Write down").fill("As the order says")
    if line.get_by_label(re.compile("^Torque")).count():
        line.get_by_label(re.compile("^Torque")).fill("5 in·lbf")
    if line.get_by_label(re.compile("^Value")).count():
        line.get_by_label(re.compile("^Value")).fill("0.4")
    if line.get_by_label("Counted").count():
        line.get_by_label("Counted").fill("8")
        line.get_by_label("of", exact=True).fill("8")
    if line.get_by_label(re.compile("^Each looked at")).count():
        line.get_by_label(re.compile("^Each looked at")).check()
    if line.get_by_label(re.compile("^Second")).count():
        line.get_by_label(re.compile("^Second")).fill("Ada Steward")
    line.get_by_role("button", name=re.compile("^Done")).click()
    expect(page.locator(f"#line-{number} .line-answer")).to_be_visible()


def go_through(page: Page) -> int:
    """Every line is answered, the lag of the loom is not right; how many lines there were."""
    total = page.locator(".line").count()
    lag = page.locator(".line", has_text="Loom at the shield").get_attribute("id")
    for number in range(1, total + 1):
        if f"line-{number}" != lag:
            answer(page, number)
            continue
        line = page.locator(f"#{lag}")
        line.locator("summary").click()
        line.get_by_label("What is wrong").fill("Slips out of its clamp")
        line.get_by_role("button", name=re.compile("^Not right")).click()
        expect(page.locator(f"#{lag} .line-answer")).to_contain_text("Fault 1")
    return total


@pytest.mark.usefixtures("bench")
def test_with_gloves_on_a_phone_a_line_that_is_not_right_opens_a_fault(page: Page) -> None:
    page.set_viewport_size(PHONE)
    begin(page)
    address = page.url
    assert page.evaluate(SMALLEST) >= GLOVED_PX
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert barriers(page) == []
    total = go_through(page)
    assert page.url == address
    expect(page.locator("#standing")).to_contain_text(f"{total} of {total} answered, 1 not right")
    assert barriers(page) == []
    page.get_by_role("link", name="Fault 1").click()
    expect(page.get_by_text("Slips out of its clamp").first).to_be_visible()
    page.goto("/cryostats/bench-a")
    expect(page.get_by_role("link", name=re.compile("Loom at the shield"))).to_be_visible()


@pytest.mark.usefixtures("bench")
def test_without_scripts_all_of_it_is_answered_as_well(plain_page: Page) -> None:
    begin(plain_page)
    total = go_through(plain_page)
    expect(plain_page.locator("#standing")).to_contain_text(f"{total} of {total} answered, 1 not right")


@pytest.mark.usefixtures("bench")
def test_a_list_is_one_sheet_of_paper(page: Page) -> None:
    begin(page)
    for key in ("before-closing", "before-cooling", "before-warming"):
        page.goto(f"{HOME}/{key}/paper")
        assert barriers(page) == []
        made = page.pdf(format="A4")
        assert len(re.findall(rb"/Type\s*/Page\b", made)) == 1, key
