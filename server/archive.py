"""Backup and restore of the whole book, while the server runs, from one engine to the other.

An archive is a zip of plain files: `about.json`, one `tables/NAME.jsonl` a table, a row a line, in an order
in which rows may be written back, and photographs and drawings under `files/`. It is read in one snapshot, so
it holds no half of a change.
"""

import json
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic.migration import MigrationContext
from sqlalchemy.engine import Connection, Engine

from server import tables
from server.db import UTC, make_engine, now
from server.files import packing
from server.settings import Settings

FORMAT = "coldstead-archive-1"
ABOUT = "about.json"
BATCH = 1000


def write_archive(chosen: Settings, to: Path) -> list[str]:
    """Write the archive beside its final name, then move it there, so that a torn one never looks whole.

    The digests of files that could not be taken along come back; the rest is in it.
    """
    unfinished = to.with_name(to.name + ".part")
    with (
        _closing(make_engine(chosen.url)) as engine,
        _snapshot(engine) as connection,
        zipfile.ZipFile(unfinished, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        about = {
            "format": FORMAT,
            "made_at": now().isoformat(),
            "schema": MigrationContext.configure(connection).get_current_revision(),
        }
        archive.writestr(ABOUT, json.dumps(about, indent=2))
        for table in tables.metadata.sorted_tables:
            with archive.open(f"tables/{table.name}.jsonl", "w", force_zip64=True) as file:
                for row in connection.execute(sa.select(table).order_by(*table.primary_key)).mappings():
                    file.write(_line(row))
        lost = packing.pack(archive, connection, chosen.home)
    unfinished.replace(to)
    return lost


def _snapshot(engine: Engine) -> Connection:
    if engine.dialect.name == "sqlite":
        return engine.execution_options(sqlite_begin="DEFERRED").connect()
    return engine.connect().execution_options(isolation_level="REPEATABLE READ")


def _line(row: sa.RowMapping) -> bytes:
    plain = {name: _plain(value) for name, value in row.items()}
    return json.dumps(plain, ensure_ascii=False).encode() + b"\n"


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime | date | time) else value


def read_archive(chosen: Settings, source: Path) -> None:
    """Bring `source` back. ValueError when it is no archive, or something is there already."""
    try:
        with zipfile.ZipFile(source) as archive:
            schema = _schema_of(archive, source)
            chosen.home.mkdir(parents=True, exist_ok=True)
            _refuse_other_books(chosen.url, schema)
            packing.unpack(archive, chosen.home)
            tables.upgrade(chosen.url, schema)
            with _closing(make_engine(chosen.url)) as engine, engine.begin() as connection:
                known = _tables_there(connection)
                _refuse_filled(connection, known)
                for table in known:
                    _fill(connection, table, archive)
    except zipfile.BadZipFile as problem:
        raise ValueError(f"{source} is not an archive of this program, or is damaged: {problem}") from problem
    tables.upgrade(chosen.url)


@contextmanager
def _closing(engine: Engine) -> Iterator[Engine]:
    try:
        yield engine
    finally:
        engine.dispose()


def _schema_of(archive: zipfile.ZipFile, source: Path) -> str:
    """The schema it was written under; ValueError for what is no archive, or is of a later program."""
    about = json.loads(archive.read(ABOUT)) if ABOUT in archive.namelist() else {}
    if not isinstance(about, dict) or about.get("format") != FORMAT:
        raise ValueError(f"{source} is not an archive of this program")
    schema = str(about.get("schema"))
    if schema not in tables.schemas():
        raise ValueError(f"{source} was written by a later program; bring this one up to date first")
    return schema


def _refuse_other_books(url: str, schema: str) -> None:
    """Look before anything is touched: an empty database, or one of the archive's schema without a row."""
    file = sa.make_url(url).database if url.startswith("sqlite") else None
    if file is not None and not Path(file).exists():
        return
    with _closing(make_engine(url)) as engine, engine.connect() as connection:
        here = MigrationContext.configure(connection).get_current_revision()
        _refuse_filled(connection, _tables_there(connection))
        if here is not None and here != schema:
            raise ValueError(
                f"The database is at schema {here}, the archive at {schema}; restore into a new one"
            )


def _tables_there(connection: Connection) -> list[sa.Table]:
    """The program's tables as they are under the archive's schema, parents first."""
    there = sa.inspect(connection).get_table_names()
    then = sa.MetaData()
    then.reflect(connection, only=[name for name in tables.metadata.tables if name in there])
    for column in (column for table in then.sorted_tables for column in table.c):
        if isinstance(column.type, sa.JSON):
            column.type.none_as_null = True  # what was no value comes back as none, not as JSON's null
    return then.sorted_tables


def _refuse_filled(connection: Connection, known: Sequence[sa.Table]) -> None:
    for table in known:
        if connection.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first():
            raise ValueError("There is something in this database already; restore into an empty one")


def _fill(connection: Connection, table: sa.Table, archive: zipfile.ZipFile) -> None:
    name = f"tables/{table.name}.jsonl"
    if name not in archive.namelist():
        return
    try:
        with archive.open(name) as file:
            for batch in _batches(json.loads(line) for line in file):
                connection.execute(sa.insert(table), [_typed(table, row) for row in batch])
    except (KeyError, TypeError, ValueError, AttributeError, sa.exc.StatementError) as problem:
        raise ValueError(f"A row of {name} cannot be brought back: {problem}") from problem
    if connection.dialect.name == "postgresql" and "id" in table.c and table.c.id.autoincrement:
        _set_sequence(connection, table)


def _batches(rows: Iterator[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    batch: list[dict[str, Any]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def _typed(table: sa.Table, row: dict[str, Any]) -> dict[str, Any]:
    return {name: _value(table.c[name].type, value) for name, value in row.items()}


def _value(kind: sa.types.TypeEngine[Any], value: Any) -> Any:
    if value is None:
        return None
    if isinstance(kind, UTC | sa.DateTime):
        return datetime.fromisoformat(value)
    if isinstance(kind, sa.Date):
        return date.fromisoformat(value)
    return time.fromisoformat(value) if isinstance(kind, sa.Time) else value


def _set_sequence(connection: Connection, table: sa.Table) -> None:
    """The next key after the highest one written; a table without a sequence has nothing to set."""
    sequence = connection.scalar(sa.text("SELECT pg_get_serial_sequence(:name, 'id')"), {"name": table.name})
    if sequence:
        highest = connection.scalar(sa.select(sa.func.max(table.c.id)))
        connection.execute(sa.select(sa.func.setval(sequence, highest or 1, highest is not None)))
