"""The macros wire labels, hints and errors by themselves, escape what people typed, and hold in a browser."""

from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Literal

import jinja2
import pytest
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from fastapi.staticfiles import StaticFiles
from playwright.sync_api import Page
from pytest_playwright import CreateContextCallback
from starlette.middleware import Middleware

from server.physics.statistics.bands import Band
from server.web import guard
from server.web.render import STATIC, TEMPLATES, environment
from tests.fixtures.browser import barriers, minded, serving

HERE = Path(__file__).parent
VOID = {"input", "br", "img", "meta", "link", "circle", "path", "rect", "line", "stop"}
TARGET_PX = 24
Element = tuple[str, dict[str, str], list[str]]


class Reader(HTMLParser):
    """Elements in order, each as (tag, attributes, text inside it)."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[Element] = []
        self._open: list[Element] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element: Element = (tag, {name: value or "" for name, value in attrs}, [])
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_endtag(self, tag: str) -> None:
        if self._open and tag not in VOID:
            assert self._open.pop()[0] == tag

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element[2].append(data)

    def find(self, tag: str, **wanted: str) -> list[tuple[dict[str, str], str]]:
        """Attributes and text of the elements of a tag with the wanted attributes (`_` for `-`)."""
        pairs = {name.rstrip("_").replace("_", "-"): value for name, value in wanted.items()}
        return [
            (attributes, " ".join("".join(text).split()))
            for name, attributes, text in self.elements
            if name == tag and pairs.items() <= attributes.items()
        ]


def made(source: str, **context: object) -> Reader:
    """What a piece of a template comes to."""
    return Reader(environment().from_string(source).render(**context))


def kitchen() -> str:
    """The page that holds every macro."""
    house = environment()
    assert house.loader is not None
    loader = jinja2.ChoiceLoader([house.loader, jinja2.FileSystemLoader(HERE)])
    bands = {
        "heat": Band(0.009, 0.012, 0.015),
        "cost": Band(0.04, 0.048, 0.075),
        "range": Band(0.12, None, 0.15),
        "open": Band(0.2, None, None),
    }
    context: dict[str, Any] = {
        "person": SimpleNamespace(name="Operator 3", steward=True),
        "laboratory": SimpleNamespace(name="Low-temperature laboratory"),
        "path": "/cryostats/bench-a",
        "flash": "Revision 14 logged.",
        "when": datetime(2026, 3, 3, 13, 5, tzinfo=UTC),
        "bands": bands,
    }
    return house.overlay(loader=loader).get_template("kitchen.html").render(context)


@pytest.fixture(scope="module")
def page_read() -> Reader:
    return Reader(kitchen())


def test_every_macro_is_in_the_kitchen_and_under_one_name() -> None:
    words = (HERE / "kitchen.html").read_text()
    ui = environment().globals["ui"]
    for path in (TEMPLATES / "ui").glob("*.html"):
        module = environment().get_template(f"ui/{path.name}").module
        for name in (name for name in vars(module) if not name.startswith("_")):
            assert hasattr(ui, name), f"ui/all.html forgets {name}"
            assert f"ui.{name}(" in words or name == "field_id", f"the kitchen forgets {name}"


def test_no_two_elements_share_an_id(page_read: Reader) -> None:
    ids = [attributes["id"] for _, attributes, _ in page_read.elements if "id" in attributes]
    assert sorted(set(ids)) == sorted(ids)


@pytest.mark.parametrize("wire", ["for", "aria-describedby", "aria-labelledby"])
def test_every_wire_ends_at_an_element(page_read: Reader, wire: str) -> None:
    ids = {attributes["id"] for _, attributes, _ in page_read.elements if "id" in attributes}
    ends = [end for _, attributes, _ in page_read.elements for end in attributes.get(wire, "").split()]
    assert ends
    assert set(ends) <= ids


def test_every_input_has_a_label(page_read: Reader) -> None:
    labelled = {attributes.get("for") for attributes, _ in page_read.find("label")}
    for tag in ("input", "select", "textarea"):
        for attributes, _ in page_read.find(tag):
            inside = attributes.get("type") in ("radio", "checkbox")
            assert inside or attributes["id"] in labelled, attributes


def test_the_error_summary_takes_the_focus_and_links_to_each_field(page_read: Reader) -> None:
    (attributes, text), *_ = page_read.find("div", role="alert")
    assert attributes["tabindex"] == "-1"
    assert "autofocus" in attributes
    assert text.startswith("Not saved yet: 2 answers to mend")
    ids = {attributes["id"] for _, attributes, _ in page_read.elements if "id" in attributes}
    for name in ("f-lines-length_m", "f-lid"):
        assert name in ids
        assert page_read.find("a", href=f"#{name}")


def test_one_answer_to_mend_is_not_called_answers() -> None:
    assert "1 answer to mend" in made('{{ ui.error_summary({"a": "Enter a"}) }}').find("h2")[0][1]


def test_nothing_to_mend_prints_nothing() -> None:
    assert made("{{ ui.error_summary({}) }}").elements == []


def test_a_refused_field_keeps_what_was_typed_and_says_what_to_do(page_read: Reader) -> None:
    ((attributes, _),) = page_read.find("input", name="lines.length_m")
    assert attributes["value"] == "long"
    assert attributes["aria-invalid"] == "true"
    hint, error = attributes["aria-describedby"].split()
    assert page_read.find("p", id=hint)[0][1] == "Ruler along the wire"
    assert page_read.find("p", id=error)[0][1] == "To mend: Enter a length such as 0.30 m"


def test_a_quantity_takes_text_and_says_its_unit_twice() -> None:
    read = made('{{ ui.quantity("length_m", "Length", "m", "0.2–0.4 m", default="0.3 m") }}')
    assert read.find("label")[0][1] == "Length (m)"
    assert read.find("span", aria_hidden="true")[0][1] == "m"
    ((attributes, _),) = read.find("input")
    assert attributes["type"] == "text"
    assert attributes["value"] == "0.2–0.4 m"
    assert "inputmode" not in attributes
    assert read.find("p", id="f-length_m-hint")[0][1] == "Left empty: 0.3 m (default)"


def test_not_recorded_never_looks_like_an_answer() -> None:
    read = made(
        """{{ ui.segmented("lid", "Lid", (("on", "on"), ("not-recorded", "not recorded")), "not-recorded") }}
        {{ ui.state_tag("not-recorded") }}"""
    )
    assert read.find("label", class_="segment segment-unrecorded")[0][1] == "not recorded"
    checked = [attributes["value"] for attributes, _ in read.find("input") if "checked" in attributes]
    assert checked == ["not-recorded"]
    assert read.find("span", class_="tag tag-unrecorded")[0][1] == "not recorded"


@pytest.mark.parametrize("status", ["within", "may exceed", "over", "more than", "incomplete", "no limit"])
def test_a_status_is_a_word_and_a_shape_beside_its_colour(status: str) -> None:
    read = made("{{ ui.status_tag(status) }}", status=status)
    assert read.find("span", class_=f"tag tag-{status.replace(' ', '-')}")[0][1] == status.capitalize()
    assert len(read.find("path")) == 1


def test_no_two_states_share_a_shape() -> None:
    states = ("within", "may exceed", "over", "more than", "incomplete", "no limit")
    shapes = [made("{{ ui.status_tag(s) }}", s=state).find("path")[0][0]["d"] for state in states]
    assert len(set(shapes)) == len(shapes)


def test_a_number_is_never_shown_without_its_range() -> None:
    read = made("{{ ui.band(band, 'K') }}", band=Band(3.19, 3.21, 3.26))
    assert read.find("span", class_="num")[0][1] == "3.21 K (3.19–3.26)"
    assert read.find("span", class_="num-range")[0][1] == "(3.19–3.26)"


def test_what_people_typed_is_never_markup() -> None:
    evil = '"><script>alert(1)</script>'
    read = made(
        """{{ ui.field("a", evil, evil, evil, evil, attrs={"hx-get": evil}) }}
        {{ ui.textarea("b", evil, evil, evil, evil) }}
        {{ ui.quantity("c", evil, evil, evil, evil, evil, evil) }}
        {{ ui.select("d", evil, ((evil, evil),), evil) }}{{ ui.segmented("e", evil, ((evil, evil),), evil) }}
        {{ ui.error_summary({evil: evil}) }}{{ ui.tag(evil) }}{{ ui.empty_state(evil, evil, evil, evil) }}
        {{ ui.facts(((evil, evil, evil, evil),)) }}{{ ui.page_head(evil, evil, evil) }}
        {{ ui.caution_card({"title": evil, "text": evil, "owner": evil, "review_on": evil}) }}""",
        evil=evil,
    )
    assert read.find("script") == []
    assert read.find("input", name="a")[0][0]["value"] == evil


def test_a_password_is_never_sent_back() -> None:
    assert (
        "value" not in made('{{ ui.field("p", "Password", "secret", type="password") }}').find("input")[0][0]
    )


def test_a_missing_value_is_an_empty_field() -> None:
    for macro in ("field", "quantity", "count"):
        assert made(f'{{{{ ui.{macro}("a", "A", value=none) }}}}').find("input")[0][0]["value"] == ""
    assert made('{{ ui.textarea("a", "A", none) }}').find("textarea")[0][1] == ""


def test_a_caution_defers_to_local_rules_and_names_its_keeper(page_read: Reader) -> None:
    text = page_read.find("section", class_="caution")[0][1]
    assert "Local rules and your safety officer decide; this card reminds." in text
    assert "The steward keeps this card; to be reviewed by 1 Sep 2027." in text


def test_a_wide_table_can_be_scrolled_by_keyboard(page_read: Reader) -> None:
    ((attributes, _),) = page_read.find("div", class_="table-box")
    assert attributes["tabindex"] == "0"
    assert page_read.find("caption", id=attributes["aria-labelledby"])


def test_a_moment_is_shown_in_the_laboratorys_zone() -> None:
    at = datetime(2026, 7, 1, 22, 30, tzinfo=UTC)
    read = made('{{ ui.moment(at, "Europe/Vienna") }}', at=at)
    assert read.find("time")[0] == (
        {"class": "nowrap", "datetime": "2026-07-01T22:30:00+00:00"},
        "2 Jul 2026, 00:30 CEST",
    )


@pytest.mark.parametrize(
    ("kelvin", "step"),
    [(295, "t-300"), (80, "t-100"), (32, "t-30"), (7.4, "t-10"), (3.2, "t-3")],
)
def test_a_temperature_has_the_colour_of_its_step(kelvin: float, step: str) -> None:
    assert environment().from_string("{{ ui.temperature_class(k) }}").render(k=kelvin) == step


def test_a_stranger_sees_no_ways_in() -> None:
    frame = environment().get_template("errors/404.html")
    text = frame.render(person=None, laboratory=None, path="/x", flash=None, message="No.", fields={})
    read = Reader(text)
    assert read.find("nav") == []
    assert read.find("form") == []


@pytest.mark.parametrize("status", [401, 403, 404, 409, 422, 500])
def test_an_error_is_a_page_and_a_part(status: int) -> None:
    context: dict[str, Any] = {"person": None, "laboratory": None, "path": "/a b", "flash": None}
    context |= {"message": "It is so.", "fields": {"length_m": "Enter a length"}}
    template = environment().get_template(f"errors/{status}.html")
    whole = Reader(template.render(context))
    assert len(whole.find("h1")) == 1
    part = Reader("".join(template.blocks["problem"](template.new_context(context))))
    assert part.find("h1") == []
    for read in (whole, part):
        said = read.find("div", role="alert")[0][1]
        assert "It is so." in said
        assert "length_m : Enter a length" in said or "length_m: Enter a length" in said


# ------------------------------------------------------------------------------------------- in a browser


@pytest.fixture
def served() -> Iterator[str]:
    """The kitchen under the program's own headers."""
    app = FastAPI(middleware=[Middleware(guard.SecurityHeaders)])
    app.mount("/static", StaticFiles(directory=STATIC))
    app.get("/kitchen", response_class=HTMLResponse)(kitchen)
    with serving(app) as url:
        yield f"{url}/kitchen"


def opened(new_context: CreateContextCallback, url: str, **settings: Any) -> Page:
    """The kitchen in a browser of its own."""
    page = new_context(**settings).new_page()
    page.goto(url)
    return page


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 1280])
def test_the_kitchen_keeps_nobody_out(
    new_context: CreateContextCallback, served: str, scheme: Literal["light", "dark"], width: int
) -> None:
    with minded(new_context().new_page()) as page:
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme=scheme)
        page.goto(served)
        assert barriers(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.browser
def test_the_error_summary_has_the_focus_at_once(new_context: CreateContextCallback, served: str) -> None:
    page = opened(new_context, served)
    assert page.evaluate("document.activeElement.className") == "mend"


@pytest.mark.browser
def test_everything_one_can_reach_shows_its_focus(new_context: CreateContextCallback, served: str) -> None:
    page = opened(new_context, served)
    page.evaluate("document.activeElement.blur()")
    seen = set()
    for _ in range(25):
        page.keyboard.press("Tab")
        look = page.evaluate(
            """() => {
                const here = document.activeElement;
                const ring = getComputedStyle(here.closest(".segment") ?? here);
                return [here.outerHTML.slice(0, 90), ring.outlineStyle, ring.boxShadow];
            }"""
        )
        seen.add(look[0])
        assert look[1] == "solid", look[0]
        assert look[2] != "none", look[0]
    assert len(seen) >= 20


@pytest.mark.browser
@pytest.mark.parametrize(("touch", "least"), [(False, TARGET_PX), (True, 44)])
def test_targets_are_large_enough_for_a_finger(
    new_context: CreateContextCallback, served: str, touch: bool, least: int
) -> None:
    page = opened(new_context, served, has_touch=touch, is_mobile=touch)
    heights = page.evaluate(
        """() => [...document.querySelectorAll("button, input.input, select, .button, .segment, .choice")]
            .concat([...document.querySelectorAll("summary, .head-nav a, .trail a, .sort")])
            .filter(part => part.offsetParent)
            .map(part => [part.outerHTML.slice(0, 60), part.getBoundingClientRect().height])"""
    )
    assert heights
    assert [row for row in heights if row[1] < least] == []


@pytest.mark.browser
def test_the_row_and_its_run_light_together(new_context: CreateContextCallback, served: str) -> None:
    page = opened(new_context, served)
    page.locator("tr[data-key=loom-2]").hover()
    assert page.locator("g.run.lit").count() == 1
    page.locator("h1").hover()
    assert page.locator(".lit").count() == 0


@pytest.mark.browser
def test_an_answer_by_htmx_can_say_a_line(new_context: CreateContextCallback, served: str) -> None:
    part = {"body": "<p>new</p>", "headers": {"HX-Trigger": '{"said": "Revision 15 logged"}'}}
    page = opened(new_context, served)
    page.route("**/part", lambda route: route.fulfill(content_type="text/html", **part))
    page.evaluate("htmx.ajax('GET', '/part', {target: '#facts', swap: 'innerHTML'})")
    page.locator("#facts p").wait_for()
    page.get_by_text("Revision 15 logged").wait_for()
    assert page.get_by_role("status").inner_text() == "Revision 15 logged"


@pytest.mark.browser
def test_print_is_black_on_white_without_navigation(new_context: CreateContextCallback, served: str) -> None:
    page = opened(new_context, served)
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    for hidden in ("nav.head-nav", "nav.trail", ".button-main"):
        assert not page.locator(hidden).first.is_visible()
    assert page.locator(".tag-more-than").first.is_visible()
