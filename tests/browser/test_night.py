"""The stop at night in a real browser, on a phone: two taps, the record, paper, and no scripts."""

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from server.cautions.service import seed
from server.cooldowns import night_orders, service
from server.cooldowns.night_rules import Contact, Numbers
from server.cooldowns.service import Beginning, Written
from server.db import now, writing
from server.laboratory.service import set_up
from tests.browser.signing import sign_in
from tests.factories import a_bench, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import make_person

PHONE: ViewportSize = {"width": 390, "height": 844}
HOME = "/cryostats/bench-a"


@pytest.fixture
def cold(site: Site) -> None:
    """Bench A, cold, with its rule and roster; Ben has an account and no grade."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    make_person(site.engine, "ben", "Ben Member")
    slug = a_bench(site.engine, ada, wire(label="Loom"), lid(label="Lid"), cooler=True)
    with writing(site.engine) as session:
        numbers = Numbers(go_Pa=0.5, restart_Pa=0.5, longest_stop_s=1200.0, decides="Ada Steward")
        night_orders.write_rule(session, ada, slug, numbers, now())
        contacts = (Contact("Maren Tolle", "2141", "restart"), Contact("Ada Steward", "2102", "decide", 30))
        night_orders.write_roster(session, ada, slug, contacts, True, now())
        service.start(session, ada, slug, Beginning(0.3), now())
        base = {"shield_K": 32.1, "platform_K": 3.19, "heater": "off", "settled": "yes"}
        service.enter(session, ada, slug, 1, Written("base", base), now())
        session.commit()


def reach_the_card(page: Page) -> None:
    """Two taps from wherever one is: the night card, then the cryostat."""
    page.locator(".head-night").click()
    page.get_by_role("link", name="Bench A").click()
    expect(page.get_by_role("heading", name="Cooling stopped: Bench A")).to_be_visible()


def keep_the_record(page: Page) -> None:
    page.get_by_label("What you see").fill("Water alarm, compressor stands, pump runs")
    page.get_by_label("Pressure now").fill("4e-3 mbar")
    page.get_by_label("Whom you called").fill("Maren Tolle")
    page.get_by_label("How you leave it").fill("Left as it is")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("Water alarm, compressor stands")).to_be_visible()


@pytest.mark.usefixtures("cold")
def test_the_card_is_two_taps_away_on_a_phone_and_says_what_counts(page: Page) -> None:
    page.set_viewport_size(PHONE)
    sign_in(page, "ben")
    reach_the_card(page)
    expect(page.get_by_text("Do not start it again above 0.005 mbar.")).to_be_visible()
    expect(page.get_by_text("after a stop of more than 20 min")).to_be_visible()
    expect(page.locator(".night-donts li")).to_have_count(3)
    calls = page.locator(".night-call")
    expect(calls.nth(0)).to_contain_text("Maren Tolle")
    assert calls.nth(0).get_attribute("href") == "tel:2141"
    assert page.locator(".night-rule").bounding_box()["y"] < PHONE["height"]  # type: ignore[index]
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= PHONE["width"]
    keep_the_record(page)
    assert barriers(page) == []


@pytest.mark.usefixtures("cold")
def test_the_card_and_its_record_work_without_scripts(plain_page: Page) -> None:
    plain_page.set_viewport_size(PHONE)
    sign_in(plain_page, "ben")
    reach_the_card(plain_page)
    keep_the_record(plain_page)


@pytest.mark.usefixtures("cold")
def test_the_printed_card_has_rule_donts_contacts_and_cautions_and_no_form(page: Page) -> None:
    sign_in(page, "ben")
    page.goto(f"{HOME}/night")
    page.emulate_media(media="print")
    for words in ("above 0.005 mbar", "Do not open the chamber", "2141", "gas trapped in the cold"):
        expect(page.get_by_text(words).first).to_be_visible()
    expect(page.get_by_label("What you see")).to_be_hidden()
    expect(page.get_by_role("button")).to_have_count(0)


@pytest.mark.usefixtures("cold")
def test_a_cooldown_is_written_down_in_the_browser(page: Page) -> None:
    sign_in(page, "ada")
    page.goto(f"{HOME}/cooldowns/1")
    page.get_by_text("Remark", exact=True).click()
    form = page.locator("form", has=page.locator("input[value=remark]"))
    form.get_by_label("Words").fill("Smells of nothing")
    form.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("Smells of nothing")).to_be_visible()
    assert barriers(page) == []
    page.goto(f"{HOME}/cooldowns")
    expect(page.get_by_role("link", name="Cooldown 1", exact=True)).to_be_visible()
    assert barriers(page) == []
