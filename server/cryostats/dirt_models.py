"""Table of what may make pumping slow later: what gives off gas inside, and what the inside has breathed."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class DirtEntry(Row, table=True):
    """One entry of dirt or gas, with the revision that stood then. A correction names what it corrects."""

    __tablename__ = "dirt_entry"
    __table_args__ = (sa.Index("ix_dirt_entry_newest", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    revision: int
    kind: str
    what: str
    data: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    """The kind's own fields in SI: a number, a range as two, null for unknown, or a word."""
    corrects: int | None = Field(default=None, foreign_key="dirt_entry.id", unique=True)
    done_at: datetime = Field(sa_type=UTC)
    note: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(DirtEntry)
