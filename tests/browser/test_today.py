"""The first page in a browser: twenty seconds of looking, one step from a line, with scripts and without."""

import re

import pytest
from playwright.sync_api import Page, expect

from server.db import now, writing
from server.faults import service as faults
from server.laboratory.service import set_up
from server.people.models import Person
from tests.factories import a_bench, lid, somebody, wire
from tests.fixtures.browser import Site, barriers

pytestmark = pytest.mark.browser


@pytest.fixture
def room(site: Site) -> None:
    """A bench with a loom and its lid off, and a fault that stops work."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        person = somebody(session)
        session.commit()
        session.refresh(person)
        session.expunge(person)
    a_bench(site.engine, person, wire(label="Loom"), lid("off", label="Shield lid"))
    with writing(site.engine) as session:
        here = session.get(Person, person.id)
        assert here is not None
        faults.report(session, here, 1, "Frost on the can", "Can", now(), "stops-work")
        session.commit()


def sign_in(page: Page) -> None:
    page.goto("/sign-in")
    page.get_by_label("Login").fill("ada")
    page.get_by_label("Password").fill("a long cold night")
    page.get_by_role("button", name="Sign in").click()


def look(page: Page) -> None:
    """From signing in to the fault, without a search."""
    sign_in(page)
    expect(page.get_by_role("heading", name="Today", exact=True)).to_be_visible()
    card = page.get_by_role("article", name="Bench A")
    for words in ("Shield lid off", "Loom", "nobody has it", "no thermometer is logged"):
        expect(card).to_contain_text(words)
    page.get_by_role("link", name="Say who looks at it").click()
    expect(page).to_have_url(re.compile("/faults/1$"))
    expect(page.get_by_text("Frost on the can").first).to_be_visible()


@pytest.mark.usefixtures("room")
def test_what_stops_work_is_one_step_away_from_signing_in(page: Page) -> None:
    look(page)


@pytest.mark.usefixtures("room")
def test_the_same_without_scripts(plain_page: Page) -> None:
    look(plain_page)


@pytest.mark.usefixtures("room")
def test_its_pages_keep_nobody_out_on_a_phone(page: Page) -> None:
    sign_in(page)
    page.set_viewport_size({"width": 390, "height": 844})
    for address in ("/today", "/notices", "/oxygen"):
        page.goto(address)
        assert barriers(page) == [], address
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, address
