"""Fixtures of the whole tree: a migrated database on each engine, the application, people signed in to it."""

pytest_plugins = [
    "tests.fixtures.postgres",
    "tests.fixtures.browser",
    "tests.fixtures.books",
    "tests.fixtures.people",
]
