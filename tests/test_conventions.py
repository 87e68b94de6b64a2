"""The habits of the house, kept by looking: rooms, tests, routes, commands and words."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute, iter_route_contexts

from server import cli, install
from server.people.guards import api_person, current_person, steward
from server.settings import HOUSE

SERVER, TESTS, TEMPLATES = HOUSE / "server", HOUSE / "tests", HOUSE / "templates"
GUARDS = {current_person, steward, api_person}
OPEN = {"/sign-in", "/invitation/{token}", "/due/{token}.ics", "/feeds/{token}.ics"}
"""Where somebody comes who cannot be signed in yet."""
SLICES = sorted(
    path.name
    for path in SERVER.iterdir()
    if (path / "__init__.py").is_file() and path.name not in ("physics", "demo")
)
PURE = sorted(path.name for path in (SERVER / "physics").iterdir() if (path / "__init__.py").is_file())
DOCUMENTS = [HOUSE / name for name in ("README.md", "DEVELOPERS.md")]


@pytest.mark.parametrize("name", SLICES)
def test_every_room_has_tests(name: str) -> None:
    assert list((TESTS / name).glob("test_*.py")), f"tests/{name} has no test"


@pytest.mark.parametrize("name", PURE)
def test_every_room_of_the_physics_has_tests(name: str) -> None:
    assert list((TESTS / "physics" / name).glob("test_*.py")), f"tests/physics/{name} has no test"


@pytest.mark.parametrize("name", SLICES)
def test_no_init_file_has_anything_to_say(name: str) -> None:
    text = (SERVER / name / "__init__.py").read_text()
    assert re.fullmatch(r'\s*("""[^"]*"""\s*)?', text), "registering by import is what tables.py alone does"


def routes(app: FastAPI) -> list[Any]:
    """Every route as it answers: path, methods, and what it depends on, its router's own guards included."""
    found = (route for route in iter_route_contexts(app.routes) if isinstance(route.original_route, APIRoute))
    return list(found)


def asked(dependant: Dependant) -> Iterator[object]:
    yield dependant.call
    for inner in dependant.dependencies:
        yield from asked(inner)


def unguarded(app: FastAPI) -> set[str]:
    return {route.path for route in routes(app) if not GUARDS & set(asked(route.dependant))}


@pytest.fixture
def whole(tmp_path: Path) -> FastAPI:
    from server.app import make_app
    from server.db import make_engine
    from server.settings import Settings

    chosen = Settings(home=tmp_path, database_url="")
    return make_app(make_engine(chosen.url), chosen)


def test_no_route_is_without_a_guard_but_those_where_one_comes_in(whole: FastAPI) -> None:
    assert len(routes(whole)) > 30
    assert unguarded(whole) == OPEN


def test_a_route_without_a_guard_is_found(whole: FastAPI) -> None:
    whole.get("/secrets")(lambda: "open to all")
    assert "/secrets" in unguarded(whole)


def test_no_two_routes_answer_at_the_same_address(whole: FastAPI) -> None:
    found = [(method, route.path) for route in routes(whole) for method in route.methods]
    assert sorted(found) == sorted(set(found))


def test_nothing_of_the_api_is_outside_its_description(whole: FastAPI) -> None:
    described = whole.openapi()["paths"]
    api = {route.path for route in routes(whole) if route.path.startswith("/api/")}
    assert api == set(described)


def commands() -> set[str]:
    return {
        row.name or row.callback.__name__.replace("_", "-")
        for row in cli.app.registered_commands
        if row.callback
    }


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_every_command_a_document_names_is_there(document: Path) -> None:
    text = document.read_text()
    named = set(re.findall(r"bin/coldstead ([a-z]+)", text))
    assert named <= commands()
    for word in re.findall(r"install\.py ([a-z]+)", text):
        assert word in install.__doc__ or word in (SERVER / "install.py").read_text()


def test_every_command_is_told_of_in_a_document() -> None:
    text = " ".join(document.read_text() for document in DOCUMENTS)
    assert {name for name in commands() if not re.search(rf"\b{name}\b", text)} == set()


def test_every_room_stands_in_the_plan_of_the_house() -> None:
    text = (HOUSE / "DEVELOPERS.md").read_text()
    assert {name for name in SLICES if f"{name}/" not in text} == set()


def test_every_file_a_document_names_is_there() -> None:
    named = set()
    for document in DOCUMENTS:
        named |= set(
            re.findall(r"`((?:server|tests|templates|migrations)/[\w/]+\.(?:py|html))`", document.read_text())
        )
    assert {name for name in named if not (HOUSE / name).exists()} == set()


WORDS = ("safe", "guaranteed", "invalid", "please", "click here")
"""Words no page says: the first two promise, the others do not help."""


@pytest.mark.parametrize(
    "path", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: str(path.relative_to(TEMPLATES))
)
def test_no_page_promises_or_scolds(path: Path) -> None:
    text = re.sub(
        r"\{#.*?#\}|\{%.*?%\}|<[^>]+>", " ", path.read_text().replace("aria-invalid", ""), flags=re.DOTALL
    ).lower()
    assert [word for word in WORDS if re.search(rf"\b{word}\b", text)] == []
