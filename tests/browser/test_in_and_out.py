"""In and out in a real browser, with scripts and without: a file becomes a change, a photograph is kept."""

from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import FilePayload, Page, expect

from server.cautions.service import seed
from server.cryostats import contents, guards
from server.db import reading, writing
from server.laboratory.service import set_up
from tests.factories import a_bench, lid, wire
from tests.fixtures.browser import Site, barriers
from tests.fixtures.people import PASSWORD, make_person

pytestmark = pytest.mark.browser

HOME = "/cryostats/bench-a"


@pytest.fixture(autouse=True)
def bench(site: Site) -> None:
    """A laboratory with a steward and one cryostat: a loom and the lid inside, at revision 1."""
    with writing(site.engine) as session:
        set_up(session, "Invented laboratory", "Europe/Vienna")
        seed(session)
        session.commit()
    ada = make_person(site.engine, "ada", "Ada Steward", steward=True)
    a_bench(site.engine, ada, wire(label="Loom"), lid(label="Shield lid"), cooler=True)


def sign_in(page: Page) -> None:
    page.set_default_timeout(8000)
    page.goto("/sign-in")
    page.get_by_label("Login").fill("ada")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Cryostats")).to_be_visible()


def wires_in_the_loom(site: Site) -> int:
    with reading(site.engine) as session:
        cryostat = guards.find(session, "bench-a")
        count: int = contents.elements(session, cryostat, cryostat.revision)["loom"].data["count"]
        return count


@pytest.fixture(params=["with scripts", "without scripts"])
def either(request: pytest.FixtureRequest) -> Page:
    """A page that runs scripts, and one that does not."""
    made: Page = request.getfixturevalue("page" if request.param == "with scripts" else "plain_page")
    sign_in(made)
    return made


def test_a_wire_list_goes_out_is_altered_and_comes_in(either: Page, site: Site, tmp_path: Path) -> None:
    either.goto(f"{HOME}/exchange")
    with either.expect_download() as going:
        either.get_by_role("link", name="semicolon with decimal comma").first.click()
    text = Path(going.value.path()).read_text("utf-8-sig")
    file = tmp_path / "loom.csv"
    file.write_text(text.replace(";24;", ";12;"))
    either.get_by_label("File", exact=True).set_input_files(file)
    either.get_by_role("button", name="Show what it would change").click()
    expect(either.get_by_role("heading", name="What it would do")).to_be_visible()
    assert wires_in_the_loom(site) == 24
    either.get_by_role("button", name="Log this change").click()
    expect(either.get_by_text("Revision 2 logged: 1 altered.")).to_be_visible()
    assert wires_in_the_loom(site) == 12


def test_a_bad_file_is_told_with_its_lines_and_leaves_everything_as_it_was(either: Page, site: Site) -> None:
    either.goto(f"{HOME}/exchange")
    bad = b"key;kind;count\nloom;wire;many\n"
    either.get_by_label("File", exact=True).set_input_files(
        FilePayload(name="bad.csv", mimeType="text/csv", buffer=bad)
    )
    either.get_by_role("button", name="Show what it would change").click()
    expect(either.get_by_role("row", name="2 count Enter a whole number such as 24")).to_be_visible()
    assert wires_in_the_loom(site) == 24


def photograph() -> bytes:
    to = BytesIO()
    Image.linear_gradient("L").resize((320, 240)).save(to, "JPEG")
    return to.getvalue()


def test_a_photograph_of_a_lag_is_kept_shown_and_withdrawn(either: Page) -> None:
    either.goto(f"{HOME}/photographs")
    file = FilePayload(name="clamp.jpg", mimeType="image/jpeg", buffer=photograph())
    either.get_by_label("Files").set_input_files(file)
    either.get_by_label("What it shows").fill("Second lag at the shield, before the lid")
    either.get_by_label("Of", exact=True).select_option(label="Loom")
    either.get_by_label("Lag at").select_option("shield")
    either.get_by_role("button", name="Keep with this revision").click()
    expect(either.get_by_text("1 picture kept")).to_be_visible()
    picture = either.get_by_alt_text("Photograph: Second lag at the shield, before the lid")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") == 320
    either.get_by_text("Withdraw", exact=True).click()
    either.get_by_label("no longer counts").fill("The other cryostat")
    either.get_by_role("button", name="Mark withdrawn").click()
    expect(either.get_by_text("The other cryostat")).to_be_visible()


def test_the_page_of_the_cryostat_brings_its_photographs_by_itself(page: Page) -> None:
    sign_in(page)
    page.goto(HOME)
    expect(page.get_by_text("No photograph of this revision yet.")).to_be_visible()


@pytest.mark.parametrize("address", ["exchange", "photographs", "wire-map"])
def test_nobody_is_kept_out_of_the_pages(page: Page, address: str) -> None:
    """WCAG 2.2 AA, by the rules that a machine can check."""
    sign_in(page)
    page.goto(f"{HOME}/{address}")
    assert barriers(page) == []
