"""Tables for tests of people, until there are migrations that make them."""

import pytest
from sqlalchemy.engine import Engine

from server.tables import metadata


@pytest.fixture
def engine(engine: Engine) -> Engine:
    metadata.create_all(engine)
    return engine
