"""The migrated schema is that of the models, triggers included, on both engines; and the way back works."""

from collections.abc import Mapping
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy.engine import Engine

from server import tables
from server.db import make_engine

TRIGGERS = {
    "sqlite": "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name",
    "postgresql": (
        "SELECT tgname, pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal ORDER BY tgname"
    ),
}


def triggers(engine: Engine) -> list[tuple[str, str]]:
    with engine.connect() as connection:
        rows = connection.execute(sa.text(TRIGGERS[engine.dialect.name])).all()
    return [(name, " ".join(text.split())) for name, text in rows]


def plain(index: Mapping[str, Any]) -> str:
    options = {name: str(value) for name, value in index.get("dialect_options", {}).items()}
    return f"{index['name']} {index['column_names']} {bool(index['unique'])} {options}"


@pytest.fixture
def created(engine: Engine) -> Engine:
    """A database made from the models: the migrated one, emptied and created again."""
    with engine.begin() as connection:
        tables.metadata.drop_all(connection)
        connection.execute(sa.text("DROP TABLE alembic_version"))
        tables.metadata.create_all(connection)
    return engine


def test_migrating_makes_what_the_models_say(engine: Engine) -> None:
    with engine.connect() as connection:
        opts = {"compare_type": True, "include_name": tables.ours}
        context = MigrationContext.configure(connection, opts=opts)
        assert compare_metadata(context, tables.metadata) == []


def test_migrating_makes_the_same_triggers_as_the_models(
    engine: Engine, request: pytest.FixtureRequest
) -> None:
    migrated = triggers(engine)
    assert len(migrated) >= 18
    request.getfixturevalue("created")
    assert triggers(engine) == migrated


def test_migrating_makes_the_same_indices_as_the_models(
    engine: Engine, request: pytest.FixtureRequest
) -> None:
    def indices() -> dict[str, list[str]]:
        look = sa.inspect(engine)
        names = tables.metadata.tables
        return {name: sorted(plain(row) for row in look.get_indexes(name)) for name in names}

    migrated = indices()
    request.getfixturevalue("created")
    assert indices() == migrated


def test_the_way_back_leaves_nothing_and_the_way_up_works_again(database_url: str) -> None:
    config = tables.schema_config(database_url)
    command.downgrade(config, "base")
    engine = make_engine(database_url)
    assert sa.inspect(engine).get_table_names() == ["alembic_version"]
    assert triggers(engine) == []
    tables.upgrade(database_url)
    assert "cryostat" in sa.inspect(engine).get_table_names()
    engine.dispose()


def test_no_row_loses_its_parent_while_tables_are_rebuilt(engine: Engine) -> None:
    """Foreign keys are off while Alembic works on SQLite, so they must be on again for everybody else."""
    if engine.dialect.name != "sqlite":
        pytest.skip("only SQLite switches foreign keys")
    with engine.connect() as connection:
        assert connection.execute(sa.text("PRAGMA foreign_keys")).scalar() == 1
