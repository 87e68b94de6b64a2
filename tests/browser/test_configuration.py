"""The path that matters most, in a real browser, with scripts and without: from signing in to a restore."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from server.cautions.service import seed
from server.cryostats import contents, guards
from server.db import reading, writing
from server.laboratory.service import set_up
from tests.factories import a_bench, lid, wire
from tests.fixtures.browser import Site, barriers, go
from tests.fixtures.people import PASSWORD, make_person

HOME = "/cryostats/bench-a"
MUCH = re.compile(r"\+\d{3,} … \+\d{3,} mK")
"""24 lagged copper wires warm the platform by 0.4 to 1.8 K (from memory, as in the trade's notes)."""
LITTLE = re.compile(r"\+\d{1,2}(\.\d+)? … \+\d{1,2}(\.\d+)? mK")
"""24 lagged phosphor bronze wires by a few millikelvin (from memory, as in the trade's notes)."""


@pytest.fixture(autouse=True)
def bench(site: Site) -> None:
    """A laboratory with a steward and one cryostat: a loom and the lid inside, at revision 1."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    a_bench(site.engine, ada, wire(label="Loom"), lid(label="Shield lid"), cooler=True)


def inside(site: Site) -> tuple[int, set[str]]:
    with reading(site.engine) as session:
        cryostat = guards.find(session, "bench-a")
        return cryostat.revision, set(contents.elements(session, cryostat, cryostat.revision))


def sign_in(page: Page) -> None:
    page.set_default_timeout(8000)
    page.goto("/")
    page.get_by_label("Login").fill("ada")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Cryostats")).to_be_visible()


def begin_a_loom(page: Page) -> None:
    page.get_by_role("link", name="Bench A").first.click()
    page.get_by_role("link", name="Log a change").click()
    page.get_by_role("button", name="Wires", exact=True).click()
    page.get_by_label("What people call it").fill("Second loom")
    page.get_by_label("Material").select_option("copper-rrr-100")
    page.get_by_label("How many").fill("24")
    page.get_by_label("Length vessel to shield").fill("300 mm")
    page.get_by_label("Length shield to platform").fill("150")
    page.get_by_label("Lag vessel to shield").select_option("good")


def platform_in_preview(page: Page) -> Locator:
    """What the preview says the platform does."""
    return page.locator("#preview #effects tr").filter(has_text="platform")


def log_and_look(page: Page, site: Site) -> None:
    page.get_by_label("Reason for the change").fill("Twenty-four lines more")
    page.get_by_role("button", name="Log this change").click()
    expect(page).to_have_url(re.compile(rf"{HOME}$"))
    expect(page.get_by_text("Revision 2 logged")).to_be_visible()
    expect(page.locator('#elements tr[data-key="second-loom"], tr[data-key="second-loom"]')).to_be_visible()
    assert inside(site) == (2, {"loom", "lid", "second-loom"})


def restore(page: Page, site: Site) -> None:
    go(page, "Inside", "Revisions")
    expect(page.get_by_text("Twenty-four lines more")).to_be_visible()
    page.goto(f"{HOME}/revisions/1")
    page.get_by_label("Why bring revision 1 back").fill("Too warm")
    page.get_by_role("button", name="Bring it back").click()
    expect(page.get_by_text("Revision 3 logged")).to_be_visible()
    assert inside(site) == (3, {"loom", "lid"})


def test_with_scripts_the_budget_moves_while_one_types(page: Page, site: Site) -> None:
    sign_in(page)
    begin_a_loom(page)
    expect(platform_in_preview(page)).to_contain_text(MUCH)
    page.get_by_label("Material").select_option("phosphor-bronze")
    expect(platform_in_preview(page)).to_contain_text(LITTLE)
    expect(page.get_by_label("What people call it")).to_have_value("Second loom")
    assert page.url.endswith("/configuration"), "the same address, by the button that began the wires"
    assert inside(site)[0] == 1, "a preview stores nothing"
    log_and_look(page, site)
    restore(page, site)


def test_without_scripts_a_button_shows_what_it_would_do(plain_page: Page, site: Site) -> None:
    page = plain_page
    sign_in(page)
    begin_a_loom(page)
    expect(page.locator("#preview #effects")).to_have_count(0)
    page.get_by_role("button", name="Show what it would do").click()
    expect(platform_in_preview(page)).to_contain_text(MUCH)
    page.get_by_label("Material").select_option("phosphor-bronze")
    page.get_by_role("button", name="Show what it would do").click()
    expect(platform_in_preview(page)).to_contain_text(LITTLE)
    assert inside(site)[0] == 1
    log_and_look(page, site)
    restore(page, site)


def test_a_fault_is_met_at_the_top_and_beside_its_field(page: Page, site: Site) -> None:
    sign_in(page)
    begin_a_loom(page)
    page.get_by_label("How many").fill("0")
    page.get_by_role("button", name="Log this change").click()
    summary = page.get_by_role("heading", name=re.compile("Not saved yet"))
    expect(summary).to_be_visible()
    page.get_by_role("link", name=re.compile("How many")).click()
    expect(page.get_by_label("How many")).to_be_focused()
    expect(page.get_by_label("Length vessel to shield")).to_have_value("300 mm")
    assert inside(site)[0] == 1


def test_the_lid_off_is_more_than_anybody_can_say(page: Page, site: Site) -> None:
    """With the lid off the platform warms by more than 2 K and no one can say better (common practice)."""
    sign_in(page)
    page.goto(f"{HOME}/change?alter=lid")
    page.get_by_label("off", exact=True).check()
    expect(page.locator("#preview #effects")).to_contain_text("> ")
    assert inside(site)[0] == 1


def test_nothing_on_the_main_pages_keeps_people_out(page: Page) -> None:
    sign_in(page)
    found = {}
    for path in (
        "/cryostats",
        HOME,
        f"{HOME}/change?kind=coax",
        f"{HOME}/change?alter=lid",
        f"{HOME}/revisions",
        f"{HOME}/revisions/1",
        f"{HOME}/compare?from=0&to=1",
        f"{HOME}/cooler",
        f"{HOME}/grades",
        f"{HOME}/settings",
        "/cryostats/new",
    ):
        page.goto(path)
        found[path] = barriers(page)
    assert not any(found.values()), found
