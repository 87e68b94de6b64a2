"""The hand-over book in a browser, on paper and without scripts; what was inside on the day of a figure."""

import io
import re
import zipfile

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect

from server.cautions.service import seed
from server.cryostats import guards
from server.db import writing
from server.laboratory.service import set_up
from tests.browser.signing import sign_in
from tests.cooldowns.telling import AT_BASE, whole
from tests.factories import a_bench, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import make_person

pytestmark = pytest.mark.browser
HOME = "/cryostats/bench-a/handover"
PHONE: ViewportSize = {"width": 390, "height": 844}


@pytest.fixture
def bench(site: Site) -> None:
    """Bench A with a loom, a lid and one cooldown, in which both thermometers were read."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    a_bench(site.engine, ada, wire(label="Loom"), lid(label="Lid"), cooler=True)
    with writing(site.engine) as session:
        bench = guards.find(session, "bench-a")
        whole(session, ada, bench, base=AT_BASE | {"platform_K": 3.31, "sample_K": 3.51})
        session.commit()


@pytest.mark.usefixtures("bench")
def test_the_book_is_found_read_and_printed_with_its_chapters(page: Page) -> None:
    sign_in(page)
    page.goto("/handover")
    assert not barriers(page)
    page.get_by_role("link", name="Book of Bench A").click()
    expect(page.get_by_role("heading", name="Hand-over book of Bench A")).to_be_visible()
    expect(page.get_by_role("region", name="What is not known")).to_contain_text("Whom to call at night")
    page.get_by_role("link", name="How it gets cold").click()
    expect(page).to_have_url(re.compile("#bench-a-cold$"))
    assert not barriers(page)
    page.set_viewport_size(PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    chapters = page.locator(".handover-bench .handover-chapter").count()
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) > chapters


@pytest.mark.usefixtures("bench")
def test_without_scripts_the_archive_comes_as_plain_files(site: Site, browser: Browser) -> None:
    context = browser.new_context(base_url=site.url, java_script_enabled=False)
    page = context.new_page()
    sign_in(page)
    page.goto("/handover")
    with page.expect_download() as waited:
        page.get_by_role("link", name="Archive of Bench A").click()
    assert waited.value.suggested_filename.startswith("handover-bench-a-")
    archive = zipfile.ZipFile(io.BytesIO(waited.value.path().read_bytes()))
    assert "Bench A" in archive.read("README.txt").decode()
    assert archive.testzip() is None
    context.close()


@pytest.mark.usefixtures("bench")
def test_what_was_inside_when_figure_three_was_taken(page: Page) -> None:
    """From the day of the figure to a page, and to a file that carries its reference."""
    sign_in(page)
    page.goto("/record")
    page.get_by_label("Cryostat").select_option("bench-a")
    page.get_by_label("Day", exact=True).fill("2026-03-16")
    page.get_by_role("button", name="Show the record").click()
    main = page.locator("main")
    for words in ("Loom", "3.31 K", "+200 mK", "both thermometers", "Ada Steward"):
        expect(main).to_contain_text(words)
    reference = page.locator("main strong.num").inner_text()
    assert not barriers(page)
    with page.expect_download() as waited:
        page.get_by_role("link", name="archive with the images").click()
    assert waited.value.suggested_filename == f"{reference}.zip"
    archive = zipfile.ZipFile(io.BytesIO(waited.value.path().read_bytes()))
    assert f"Reference: {reference}" in archive.read("record.txt").decode()
    page.get_by_role("link", name="Cooldown 1").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Cooldown 1")
