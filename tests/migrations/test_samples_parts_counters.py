"""Books from before counters, planned samples and retired ports keep what they hold."""

from typing import Any

import sqlalchemy as sa
from alembic import command
from sqlalchemy.engine import Connection

from server import tables
from server.db import make_engine

WRITTEN = {"made_at": "2026-03-14 11:20:00+00:00", "at": "2026-03-14 11:20:00+00:00", "by_name": "Ada"}
CRYOSTAT = {"id": 1, "slug": "bench-a", "name": "Bench A", "place": "", "stages": "[]"}
PORT = {"id": 1, "cryostat_id": 1, "name": "A", "kind": "", "pins": 25, "note": ""}
PART = {"kind": "loom", "name": "Loom", "serial": "", "about": "{}", "place": ""}


def put(connection: Connection, table: str, row: dict[str, Any]) -> None:
    there = {column["name"] for column in sa.inspect(connection).get_columns(table)}
    kept = {name: value for name, value in {**WRITTEN, **row}.items() if name in there}
    made = sa.table(table, *(sa.column(name) for name in kept))
    values = {name: sa.text(f"'{value}'".replace(":", "\\:")) for name, value in kept.items()}
    connection.execute(sa.insert(made).values(values))


def test_old_ports_carry_dc_and_old_parts_in_use_are_on_the_shelf(database_url: str) -> None:
    command.downgrade(tables.schema_config(database_url), "0006")
    engine = make_engine(database_url)
    with engine.begin() as connection:
        put(connection, "cryostat", CRYOSTAT | {"limits_K": "{}", "vessel_K": 295, "revision": 0})
        put(connection, "port", PORT)
        for number, state in ((1, "in-use"), (2, "broken")):
            put(connection, "part", PART | {"id": number, "tag": f"p-{number}", "state": state})
    tables.upgrade(database_url)
    with engine.connect() as connection:
        assert connection.execute(sa.text("SELECT carries FROM port")).scalars().all() == ["dc"]
        states = connection.execute(sa.text("SELECT state FROM part ORDER BY id")).scalars().all()
        assert states == ["shelf", "broken"]
    engine.dispose()
