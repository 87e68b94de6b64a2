"""The books of the stock room: on SQLite, and on both engines for the tests that ask for it with `BOTH`."""

import shutil
from pathlib import Path

import pytest


@pytest.fixture(params=["sqlite"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a fresh, migrated database."""
    if request.param == "postgresql":
        return str(request.getfixturevalue("postgres_url"))
    template: Path = request.getfixturevalue("sqlite_template")
    shutil.copy(template, tmp_path / "books.db")
    return f"sqlite:///{tmp_path / 'books.db'}"
