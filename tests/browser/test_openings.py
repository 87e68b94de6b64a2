"""The day the grease ran out, in a browser; a slip on a phone with gloves, without scripts, on one sheet."""

import re

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect
from sqlmodel import select

from server.cautions.service import seed
from server.cryostats import guards, instruments
from server.db import now, reading, writing
from server.laboratory.service import set_up
from server.openings import kinds, service
from server.stock.models import Item
from tests.browser.signing import sign_in
from tests.factories import AT, a_bench, give_grade, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import make_person
from tests.openings.telling import on_hand, stock_up

HOME = "/cryostats/bench-a/openings"
PHONE: ViewportSize = {"width": 390, "height": 844}
GLOVED_PX = 44
"""WCAG 2.2, success criterion 2.5.5 (enhanced): a target has 44 by 44 CSS pixels."""
TOO_SMALL = """() => [...document.querySelectorAll(
  '.slip button, .slip summary, .slip input:not([type=hidden]):not([type=checkbox]):not([type=radio]),'
  + '.slip select, .slip .segment, .slip .choice')]
  .filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 44)
  .map(e => e.outerHTML.slice(0, 120))"""


@pytest.fixture
def bench(site: Site) -> None:
    """Bench A with a loom and a lid, Ben, who opens it, and a tube of grease that the book thinks is used."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        items = stock_up(session, AT, gloves="400", vacuum_grease="0.2", disc_spring="90", wipes="600")
        items["vacuum-grease"].elsewhere = "Bench 2, about 20 g"
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    ben = make_person(site.engine, "ben", "Ben Member")
    give_grade(site.engine, a_bench(site.engine, ada, wire(label="Loom"), lid(label="Lid")), ben, 2)


def press(page: Page, words: str) -> None:
    page.get_by_role("button", name=words, exact=True).click()


def open_it(page: Page) -> None:
    """From the list to the lid being off."""
    sign_in(page, "ben")
    page.goto(HOME)
    page.get_by_label("Why it is opened").fill("Sample exchange")
    press(page, "Begin the slip")
    page.locator("#vent-oxygen").fill("20.9")
    page.get_by_label("Coldest of all thermometers").fill("294")
    page.get_by_label("I looked: the relief is free").check()
    press(page, "Gas is let in now")
    press(page, "The lid is off now")
    expect(page.get_by_text("open", exact=True).first).to_be_visible()


def close_it(page: Page) -> None:
    """From counting parts to pumped down."""
    page.get_by_label("Came out").fill("12")
    page.get_by_label("Went in").fill("12")
    press(page, "Counted")
    press(page, "Revision 1 is as built")
    page.get_by_label("List left out, because").fill("Paper list used")
    press(page, "It is closed, the pump is on")
    press(page, "It is pumped down now")
    expect(page.get_by_text("closed and pumped").first).to_be_visible()


@pytest.mark.usefixtures("bench")
def test_the_grease_ran_out_with_the_chamber_open(page: Page, site: Site) -> None:
    """Journey: substitutes allowed and forbidden, who lends, the parking, and closing on the Monday."""
    open_it(page)
    short = page.locator("#short")
    for words in ("Bench 2, about 20 g", "Must not stand in", "thermal grease (never on a ring)"):
        expect(short).to_contain_text(words)
    short.get_by_role("link", name=re.compile("Park it")).click()
    page.locator("#step-parked > details > summary").click()
    parking = page.locator("#step-parked")
    expect(parking).to_contain_text("Close the purge before leaving")
    expect(parking).to_contain_text("Local rules and your safety officer decide")
    for words in ("capped with the blank lid", "rough pumped", "valves are shut"):
        parking.get_by_label(re.compile(words)).check()
    press(page, "It is parked")
    expect(
        page.get_by_text(re.compile("Not parked yet without this: the gas is closed")).first
    ).to_be_visible()
    parking.get_by_label(re.compile("closed at its source")).check()
    press(page, "It is parked")
    expect(page.get_by_text("parked under the blank lid").first).to_be_visible()
    assert state(site) == "parked"
    go_on(page)
    assert state(site) == "pumping"
    check_stock(page, site)


def go_on(page: Page) -> None:
    """On the Monday, with a new tube."""
    press(page, "The blank lid is off again")
    page.get_by_label("Flange, ring or window").fill("Lid flange")
    page.get_by_label("What was done").select_option("ring:greased")
    press(page, "Write these down")
    close_it(page)


def check_stock(page: Page, site: Site) -> None:
    """What was used is drawn; what cannot be asks to be counted."""
    expect(page.locator("#step-used")).to_contain_text(
        re.compile("Count again in the stock room: .*Vacuum grease")
    )
    with reading(site.engine) as session:
        items = {row.key: row for row in session.exec(select(Item)).all()}
        assert on_hand(session, items["vacuum-grease"]) == pytest.approx(-0.2)
        assert on_hand(session, items["gloves"]) == 396


def state(site: Site) -> str:
    with reading(site.engine) as session:
        found = instruments.state_now(session, guards.find(session, "bench-a"))
        return found.state if found else ""


@pytest.mark.usefixtures("bench")
def test_a_slip_is_filled_on_a_phone_with_gloves(page: Page) -> None:
    page.set_viewport_size(PHONE)
    open_it(page)
    for summary in page.locator(".slip details:not([open]) > summary").all():
        if summary.is_visible():
            summary.click()
    assert page.evaluate(TOO_SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert barriers(page) == []


@pytest.mark.usefixtures("bench")
def test_a_slip_needs_no_script(browser: Browser, site: Site) -> None:
    context = browser.new_context(base_url=site.url, java_script_enabled=False, viewport=PHONE)
    page = context.new_page()
    open_it(page)
    close_it(page)
    context.close()


@pytest.mark.usefixtures("bench")
def test_a_slip_prints_on_one_sheet(page: Page, site: Site) -> None:
    open_it(page)
    with writing(site.engine) as session:
        from server.people.models import Person

        ben = session.exec(select(Person).where(Person.login == "ben")).one()
        for number in range(4):
            data = {"where": f"Flange {number}", "done": "greased"}
            wish = service.Written(kinds.RING, data, None, "No metal dust on it")
            service.enter(session, ben, "bench-a", 1, wish, now())
        session.commit()
    page.goto(f"{HOME}/1/paper")
    expect(page.get_by_text("Caution:").first).to_contain_text("Local rules and your safety officer decide")
    paper = page.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
