"""Fixtures of the whole tree: a migrated database on each engine, the application over it, signed-in clients."""

pytest_plugins = [
    "tests.fixtures.postgres",
    "tests.fixtures.browser",
    "tests.fixtures.books",
    "tests.fixtures.people",
]
