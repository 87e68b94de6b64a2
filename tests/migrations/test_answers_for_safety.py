"""People from before the mark of whoever answers for safety have none, and keep all they had."""

import sqlalchemy as sa
from alembic import command

from server import tables
from server.db import make_engine


def test_a_person_of_an_old_book_has_no_mark(database_url: str) -> None:
    command.downgrade(tables.schema_config(database_url), "0021")
    engine = make_engine(database_url)
    with engine.begin() as connection:
        words = (
            "INSERT INTO person (name, login, steward, active, created_at) "
            "VALUES ('Ada', 'ada', true, true, '2026-03-02 09:00:00')"
        )
        connection.execute(sa.text(words))
    tables.upgrade(database_url)
    with engine.connect() as connection:
        row = connection.execute(sa.text("SELECT name, login, steward, active, safety FROM person")).one()
    assert tuple(row) == ("Ada", "ada", True, True, False)
    engine.dispose()
