"""The database: base row, column types, engines, and the two kinds of session a route may ask for.

A read session opens with plain BEGIN, a write session on SQLite with BEGIN IMMEDIATE, so that "look, then
insert" cannot be interleaved. A write session commits *before* the answer leaves (`scope="function"`);
a service never commits.
"""

from collections.abc import Iterator
from datetime import UTC as UTC_ZONE
from datetime import datetime
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import Depends, Request
from sqlalchemy.engine import Connection, Dialect, Engine
from sqlmodel import Session, SQLModel, create_engine

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Row(SQLModel):
    """Base of every table. The naming convention has to sit here: set later, it is ignored in silence."""

    metadata = sa.MetaData(naming_convention=NAMES)


class UTC(sa.types.TypeDecorator[datetime]):
    """A moment, stored in UTC. SQLite would drop the offset in silence, so naive values are refused."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To UTC on the way in; SQLite keeps it without a zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment without a zone cannot be stored")
        moment = value.astimezone(UTC_ZONE)
        return moment if dialect.name == "postgresql" else moment.replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Always with a zone on the way out."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC_ZONE) if value.tzinfo is None else value.astimezone(UTC_ZONE)


def now() -> datetime:
    """The moment now, in UTC. Asked for at the edge only; rules are handed it."""
    return datetime.now(UTC_ZONE)


def make_engine(url: str) -> Engine:
    """An engine for `url` with the habits of this program (see the module)."""
    # A connection for each of the server's 40 threads: whoever waits for a row must not keep others from one.
    engine = create_engine(url, pool_pre_ping=not url.startswith("sqlite"), max_overflow=40)
    if engine.dialect.name == "sqlite":
        sa.event.listen(engine, "connect", _prepare_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in ("journal_mode=WAL", "synchronous=NORMAL", "foreign_keys=ON", "busy_timeout=5000"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    kind = connection.get_execution_options().get("sqlite_begin", "IMMEDIATE")
    connection.exec_driver_sql(f"BEGIN {kind}")


def reading(engine: Engine) -> Session:
    """A session that only reads, beside any writer."""
    return Session(engine.execution_options(sqlite_begin="DEFERRED"))


def writing(engine: Engine) -> Session:
    """A session that may write; on SQLite nobody else writes until it ends."""
    return Session(engine)


def read_session(request: Request) -> Iterator[Session]:
    """Dependency: reads only."""
    with reading(request.app.state.engine) as session:
        yield session


def write_session(request: Request) -> Iterator[Session]:
    """Dependency: writes, committed once, before the answer leaves; rolled back when anything is raised."""
    with writing(request.app.state.engine) as session:
        yield session
        session.commit()


ReadSession = Annotated[Session, Depends(read_session, scope="function")]
WriteSession = Annotated[Session, Depends(write_session, scope="function")]


_REFUSE = (
    "CREATE OR REPLACE FUNCTION refuse_rewriting() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
)


def append_only_sql(dialect: str, table: str, columns: tuple[str, ...] = ()) -> tuple[str, ...]:
    """The statements by which the database itself refuses to rewrite `table`.

    With `columns`, only those may not be updated. Deleting is refused in any case. Migrations run the same
    statements, and run them again after a batch operation, which drops a SQLite table's triggers.
    """
    of = f" OF {', '.join(columns)}" if columns else ""
    if dialect == "postgresql":
        on = f"ON {table} FOR EACH ROW EXECUTE FUNCTION refuse_rewriting()"
        return (
            _REFUSE,
            f"CREATE TRIGGER {table}_no_update BEFORE UPDATE{of} {on}",
            f"CREATE TRIGGER {table}_no_delete BEFORE DELETE {on}",
        )
    refuse = f"ON {table} BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    return (
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE{of} {refuse}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE {refuse}",
    )


def append_only(model: type[Row], columns: tuple[str, ...] = ()) -> None:
    """Make the database refuse to rewrite this model's rows, wherever its table is created."""
    table: sa.Table = model.__table__  # type: ignore[attr-defined]
    for dialect in ("sqlite", "postgresql"):
        for statement in append_only_sql(dialect, table.name, columns):
            ddl = sa.DDL(statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
            sa.event.listen(table, "after_create", ddl.execute_if(dialect=dialect))
