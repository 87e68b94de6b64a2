"""Budgets stored before their materials were kept survive, and say that nobody kept them."""

import pytest
import sqlalchemy as sa
from alembic import command

from server import tables
from server.db import make_engine

OLD = """
INSERT INTO cryostat (id, slug, name, place, stages, "limits_K", "vessel_K", revision, made_at)
VALUES (1, 'bench-a', 'Bench A', '', '[]', '{}', 295.0, 0, '2026-01-01 00:00:00');
INSERT INTO heat_budget (id, cryostat_id, revision, cooler_version, model, at, data)
VALUES (1, 1, 0, 0, '2026.1', '2026-01-01 00:00:00', '{}');
INSERT INTO draft (id, cryostat_id, name, house, version, made_at, by_name)
VALUES (1, 1, 'Lines', FALSE, 1, '2026-01-01 00:00:00', 'Ada');
INSERT INTO draft_budget (id, draft_id, version, cooler_version, model, at, data)
VALUES (1, 1, 1, 0, '2026.1', '2026-01-01 00:00:00', '{}')
"""


@pytest.mark.parametrize("table", ["heat_budget", "draft_budget"])
def test_old_budgets_survive_and_stay_append_only(database_url: str, table: str) -> None:
    config = tables.schema_config(database_url)
    command.downgrade(config, "0007")
    engine = make_engine(database_url)
    with engine.begin() as connection:
        for statement in OLD.split(";"):
            connection.exec_driver_sql(statement)
    tables.upgrade(database_url, "0008")
    with engine.connect() as connection:
        row = connection.execute(sa.text(f"SELECT model, own_materials FROM {table}")).one()  # noqa: S608 - one of two names
    assert tuple(row) == ("2026.1", None)
    with pytest.raises(sa.exc.DatabaseError, match="append-only"), engine.begin() as connection:
        connection.execute(sa.text(f"UPDATE {table} SET model = 'other'"))  # noqa: S608 - one of two names
    engine.dispose()
