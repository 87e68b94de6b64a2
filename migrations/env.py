"""Alembic's way in.

On SQLite foreign keys are off while tables are rebuilt, and checked afterwards: with them on, a rebuilt
table takes its children's rows along.
"""

from alembic import context
from sqlalchemy import Connection

from server.db import make_engine
from server.settings import settings
from server.tables import metadata, ours


def migrate(connection: Connection) -> None:
    """Run what is pending on `connection`."""
    sqlite = connection.dialect.name == "sqlite"
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=sqlite,
        compare_type=True,
        include_name=ours,
        transaction_per_migration=True,
    )
    with context.begin_transaction():
        context.run_migrations()


def run() -> None:
    """Connect the way migrations need it, and migrate."""
    engine = make_engine(context.config.get_main_option("sqlalchemy.url") or settings().url)
    with engine.connect() as connection:
        if connection.dialect.name == "sqlite":
            raw = connection.connection.driver_connection
            assert raw is not None
            raw.execute("PRAGMA foreign_keys=OFF")
        migrate(connection)
        connection.commit()
        if connection.dialect.name == "sqlite":
            orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            connection.rollback()
            connection.connection.driver_connection.execute("PRAGMA foreign_keys=ON")  # type: ignore[union-attr]
            if orphans:
                raise RuntimeError(f"rows without their parent after the migration: {orphans[:5]}")
    engine.dispose()


run()
