"""Vibration records from before spectra keep what they said, and stay unalterable."""

import pytest
import sqlalchemy as sa
from alembic import command

from server import tables
from server.db import make_engine
from tests.migrations.test_samples_parts_counters import CRYOSTAT, put

AT = "2026-03-01 10:00:00"
FILE = {"id": 1, "digest": "a" * 64, "media_type": "text/csv", "size_bytes": 9, "kept_at": AT}
WHAT = {"sent_name": "x.csv", "form": "text", "unit": "m", "rate_Hz": 500.0, "samples": 300}
WHERE = {"place": "Sample", "axis": "x", "cooler": "on", "pump": "off", "low": -1.0, "high": 1.0}
KEYS = {"id": 1, "cryostat_id": 1, "revision": 0, "file_id": 1, "note": "", "by_name": "Ada"}


def test_an_old_record_has_no_bandwidth_and_cannot_be_rewritten(database_url: str) -> None:
    command.downgrade(tables.schema_config(database_url), "0019")
    engine = make_engine(database_url)
    with engine.begin() as connection:
        put(connection, "cryostat", CRYOSTAT | {"limits_K": "{}", "vessel_K": 295, "revision": 0})
        put(connection, "stored_file", FILE)
        put(connection, "vibration_record", WHAT | WHERE | KEYS | {"taken_at": AT, "at": AT})
    tables.upgrade(database_url)
    with engine.begin() as connection:
        row = connection.execute(sa.text('SELECT place, "rate_Hz", "bandwidth_Hz" FROM vibration_record'))
        assert row.one() == ("Sample", 500.0, None)
    with engine.begin() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
        connection.execute(sa.text("UPDATE vibration_record SET place = 'elsewhere'"))
    engine.dispose()
