"""Every template compiles, names only what exists, and keeps to what the Content-Security-Policy allows."""

import re
from pathlib import Path

import pytest
from jinja2 import nodes

from server.web.render import TEMPLATES, environment

NAMES = sorted(str(path.relative_to(TEMPLATES)) for path in TEMPLATES.rglob("*.html"))
PAGES = [
    name for name in NAMES if not Path(name).name.startswith("_") and not name.startswith(("ui/", "base."))
]
FORBIDDEN = {
    "a style attribute": r"\sstyle\s*=",
    "a style element": r"<style\b",
    "an inline script": r"<script\b(?![^>]*\bsrc=)",
    "an inline handler": r"\son[a-z]+\s*=\s*[\"']",
    "an htmx handler": r"hx-on\b",
    "a script in hx-vals or hx-headers": r"[\"']\s*(?:js|javascript):",
    "a filter in a trigger": r"hx-trigger[\"']?\s*[=:]\s*[\"'][^\"']*\[",
}
OFFENCES = {
    "a style attribute": '<p style="color: red">',
    "a style element": "<style>p {}</style>",
    "an inline script": "<script>go()</script>",
    "an inline handler": '<a onclick="go()">',
    "an htmx handler": '<a hx-on:click="go()">',
    "a script in hx-vals or hx-headers": """<a hx-vals='js:{a: 1}'>""",
    "a filter in a trigger": '{"hx-trigger": "keyup[ctrlKey]"}',
}


def source(name: str) -> str:
    """The template without its comments, in which a forbidden word may be explained."""
    return re.sub(r"\{#.*?#\}", "", (TEMPLATES / name).read_text(), flags=re.DOTALL)


def offences(text: str) -> list[str]:
    """What of the forbidden stands in a text."""
    return [what for what, pattern in FORBIDDEN.items() if re.search(pattern, text)]


@pytest.mark.parametrize("name", NAMES)
def test_every_template_compiles(name: str) -> None:
    environment().get_template(name)


@pytest.mark.parametrize("name", PAGES)
def test_every_page_has_a_title(name: str) -> None:
    tree = environment().parse(source(name))
    titles = [block for block in tree.find_all(nodes.Block) if block.name == "title"]
    assert titles, f"{name} sets no block title"
    assert titles[0].body, f"the title of {name} is empty"


@pytest.mark.parametrize("name", NAMES)
def test_no_template_holds_what_the_policy_forbids(name: str) -> None:
    assert offences(source(name)) == []


@pytest.mark.parametrize("what", FORBIDDEN)
def test_each_forbidden_thing_would_be_found(what: str) -> None:
    assert what in offences(OFFENCES[what])


@pytest.mark.parametrize("name", NAMES)
def test_every_form_works_without_scripts(name: str) -> None:
    for form in re.findall(r"<form\b[^>]*>", source(name)):
        assert "method=" in form, form
        assert "action=" in form, form


@pytest.mark.parametrize("name", NAMES)
def test_every_link_leads_somewhere_without_scripts(name: str) -> None:
    for link in re.findall(r"<a\b[^>]*>", source(name)):
        assert "href=" in link, link


@pytest.mark.parametrize("name", NAMES)
def test_every_macro_a_template_calls_exists(name: str) -> None:
    ui = environment().globals["ui"]
    for macro in re.findall(r"\bui\.(\w+)", source(name)):
        assert hasattr(ui, macro), f"{name} calls ui.{macro}"


@pytest.mark.parametrize("name", NAMES)
def test_every_file_a_template_asks_for_is_there(name: str) -> None:
    static = TEMPLATES.parent / "static"
    for asset in re.findall(r"asset\(\s*[\"']([^\"']+)[\"']\s*\)", source(name)):
        assert (static / asset).is_file(), f"{name} asks for {asset}"
