"""The table of the rules of a cold window."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class WindowRule(Row, table=True):
    """Who may make one kind of change while a cryostat is cold, as a steward wrote it; the newest holds."""

    __tablename__ = "window_rule"
    __table_args__ = (sa.Index("ix_window_rule_newest", "cryostat_id", "what", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    what: str
    operate: str
    open: str
    rewire: str
    record: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(WindowRule)
