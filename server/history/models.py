"""The append-only record of who did what."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Entry(Row, table=True):
    """One thing somebody did. Names stand as they were written then; nothing refers to other tables."""

    __tablename__ = "history_entry"

    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(sa_type=UTC, index=True)
    person_name: str
    person_id: int | None = None
    subject: str = Field(index=True)
    """What it was done to, such as `cryostat/bench-a`."""
    what: str
    """One sentence, readable without the program."""
    detail: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)


append_only(Entry)
