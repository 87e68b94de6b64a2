"""An adsorber that is due in seven weeks, and a newcomer's first month, in a real browser."""

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from server.cryostats import counters, guards
from server.cryostats.counters import Shown
from server.db import now, writing
from server.laboratory.service import set_up
from server.maintenance import tasks
from server.maintenance.tasks import Wanted
from server.training import rules
from tests.browser.signing import sign_in
from tests.factories import a_bench
from tests.fixtures.browser import Site
from tests.fixtures.people import make_person

pytestmark = pytest.mark.browser
HOME = "/cryostats/bench-a"


@pytest.fixture
def bench(site: Site) -> None:
    """A compressor at 19,100 h of 20,000 h that ran 118 h a week."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    make_person(site.engine, "ben", "Ben Member")
    slug = a_bench(site.engine, ada)
    with writing(site.engine) as session:
        at, cryostat = now(), guards.find(session, slug)
        for week in range(9):
            then = at - timedelta(weeks=8 - week)
            shown = Shown("compressor_hours", 19100 - 118.0 * (8 - week), then)
            counters.read(session, ada, cryostat, shown, then)
        wanted = Wanted(name="Change the adsorber", limits={"compressor_hours": 20000}, lead_days=56)
        tasks.make(session, ada, slug, wanted, at)
        session.commit()


@pytest.mark.usefixtures("bench")
def test_an_adsorber_due_in_weeks_is_seen_put_off_and_done(page: Page) -> None:
    sign_in(page)
    page.goto("/maintenance")
    row = page.get_by_role("row").filter(has_text="Change the adsorber")
    expect(row).to_contain_text("19 100 of 20 000 h")
    expect(row).to_contain_text("the day for it was")
    page.get_by_role("link", name="Change the adsorber").click()
    section = page.get_by_role("region", name="Put off: Compressor")
    section.get_by_role("button", name="Put it off").click()
    expect(page.get_by_role("alert")).to_contain_text("Enter why it can wait")
    section.get_by_label("Until").fill("20300")
    section.get_by_label("Why it can wait").fill("The run ends first")
    section.get_by_role("button", name="Put it off").click()
    expect(page.get_by_text("put off 1 times already")).to_be_visible()
    done = page.get_by_role("region", name="It was done")
    done.get_by_label("What was done").fill("Changed")
    done.get_by_label("Serial number of the new part").fill("B-2")
    done.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("new part B-2")).to_be_visible()
    expect(page.get_by_text("put off 1 times already")).to_have_count(0)


@pytest.mark.usefixtures("bench")
def test_a_newcomer_comes_to_grade_two(page: Page) -> None:
    sign_in(page)
    page.goto(f"{HOME}/training")
    begin = page.get_by_role("region", name="Begin")
    begin.get_by_label("Who").select_option("ben")
    begin.get_by_label("Mentor").fill("Ada")
    begin.get_by_role("button", name="Begin").click()
    page.get_by_role("button", name="Sign grade").click()
    expect(page.get_by_role("alert")).to_contain_text("still to be seen")
    for line in rules.plan(2):
        page.locator("#f-line").select_option(line.key)
        page.locator("#f-evidence").fill("shown")
        page.locator("#f-done_on").fill("2026-03-02")
        page.get_by_role("button", name="Write it down").click()
        expect(page.get_by_text("Written down.")).to_be_visible()
    page.get_by_role("button", name="Sign grade").click()
    expect(page.get_by_text("Signed: Ben Member has the grade.")).to_be_visible()
