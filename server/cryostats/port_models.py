"""Tables of the feed-throughs: ports, what is on each pin, and what was measured on the lines."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Port(Row, table=True):
    """A feed-through of a cryostat with its number of pins."""

    __tablename__ = "port"
    __table_args__ = (sa.UniqueConstraint("cryostat_id", "name"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    name: str
    kind: str
    pins: int
    carries: str = Field(default="dc", sa_column_kwargs={"server_default": "dc"})
    """`dc`: pins for single lines; `coax`: each a coaxial connector."""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PortRetired(Row, table=True):
    """A port that is no longer there, and why. What was on it stays in the book."""

    __tablename__ = "port_retired"

    id: int | None = Field(default=None, primary_key=True)
    port_id: int = Field(foreign_key="port.id", unique=True)
    reason: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class PinEntry(Row, table=True):
    """What is on one pin from then on: a line, nothing, or dead. The newest holds."""

    __tablename__ = "pin_entry"
    __table_args__ = (sa.Index("ix_pin_entry_newest", "port_id", "pin", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    port_id: int = Field(foreign_key="port.id")
    pin: int
    state: str
    line: str = ""
    element_key: str = ""
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class ContinuityTest(Row, table=True):
    """Continuity and isolation measured at one time, with the revision that stood then."""

    __tablename__ = "continuity_test"
    __table_args__ = (sa.Index("ix_continuity_test_newest", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    revision: int
    on_day: date
    lid: str
    mount_shield_ohm: float | None = None
    """Isolation of the mount to the shield; at least this where `mount_shield_more`."""
    mount_shield_more: bool = False
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class ContinuityLine(Row, table=True):
    """One line of a test. A resistance of None with `open` is an open line, without it: not measured."""

    __tablename__ = "continuity_line"
    __table_args__ = (sa.Index("ix_continuity_line_of_test", "test_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    test_id: int = Field(foreign_key="continuity_test.id")
    port: str
    pin: int
    line: str = ""
    open: bool = False
    resistance_ohm: float | None = None
    isolation_ohm: float | None = None
    isolation_more: bool = False
    note: str = ""


for model in (Port, PortRetired, PinEntry, ContinuityTest, ContinuityLine):
    append_only(model)
