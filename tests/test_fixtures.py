"""What the tests themselves stand on."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from playwright.sync_api import BrowserContext, Page

from server.db import make_engine
from server.web.guard import SecurityHeaders
from tests.fixtures.browser import barriers, minded, serving
from tests.fixtures.lacking import lacking

ROOT = Path(__file__).parents[1]


def test_a_machine_that_lacks_something_skips_loudly(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="Chromium IS MISSING"):
        lacking("Chromium")


def test_a_machine_that_builds_the_program_may_lack_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="PostgreSQL is missing"):
        lacking("PostgreSQL")


@pytest.mark.parametrize("turn", ["first", "second"])
def test_each_test_gets_a_database_of_its_own_on_postgresql(empty_postgres_url: str, turn: str) -> None:
    engine = make_engine(empty_postgres_url)
    with engine.begin() as connection:
        connection.execute(sa.text(f"CREATE TABLE traces ({turn} int)"))
        # The database refuses overlaps by this extension; its owner need not be a superuser.
        connection.execute(sa.text("CREATE EXTENSION btree_gist"))
    engine.dispose()


KILLED = """
import os, signal
from tests.fixtures.postgres import Throwaway, programs
server = Throwaway(programs())
server.start()
print(server.folder, flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_killed_run_leaves_no_server_behind(postgres_server: sa.URL) -> None:
    if os.environ.get("TEST_DATABASE_URL"):
        pytest.skip(f"{postgres_server.host} is not ours")
    killed = subprocess.run(
        [sys.executable, "-c", KILLED], cwd=ROOT, capture_output=True, text=True, check=False
    )
    folder = Path(killed.stdout.strip())
    assert folder.name.startswith("pg-")
    for _tenth in range(200):
        if not folder.exists():
            return
        time.sleep(0.1)
    pytest.fail(f"{folder} is still there")


BODY = {
    "/fine": "<html lang=en><title>Fine</title><main><h1>Fine</h1></main>",
    "/script": "<html lang=en><title>Script</title><script>document.title = 'changed'</script>",
    "/style": "<html lang=en><title>Style</title><p style='color: red'>Red</p>",
    "/unnamed": "<html lang=en><title>Unnamed</title><main><h1>Name</h1><input></main>",
}


@pytest.fixture
def site() -> object:
    """Pages with known faults, behind the program's own headers."""

    class Faulty:
        url = ""

    app = FastAPI()
    app.add_middleware(SecurityHeaders)
    for path, body in BODY.items():
        app.get(path, response_class=HTMLResponse)(lambda body=body: body)
    with serving(app) as Faulty.url:
        yield Faulty()


def test_a_page_without_trouble_passes(page: Page) -> None:
    page.goto("/fine")
    assert barriers(page) == []


@pytest.mark.parametrize("path", ["/script", "/style"])
def test_a_page_that_breaks_the_content_policy_fails(context: BrowserContext, path: str) -> None:
    forbidden = pytest.raises(AssertionError, match="Content Security Policy directive")
    with forbidden, minded(context.new_page()) as page:
        page.goto(path)


def test_an_input_without_a_name_is_a_barrier(page: Page) -> None:
    page.goto("/unnamed")
    assert any(fault.startswith("label") for fault in barriers(page))


def test_without_scripts_nothing_runs(plain_page: Page) -> None:
    plain_page.goto("/fine")
    assert plain_page.title() == "Fine"
