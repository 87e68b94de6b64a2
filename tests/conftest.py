"""Fixtures of the whole tree: a migrated database on each engine, the application, people signed in to it.

Properties are tried on machines of any speed, so no example is refused for taking its time.
"""

from hypothesis import HealthCheck, settings

pytest_plugins = [
    "tests.fixtures.postgres",
    "tests.fixtures.browser",
    "tests.fixtures.books",
    "tests.fixtures.people",
]

settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
