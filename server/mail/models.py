"""The outbox: every letter the program has written, and what became of it."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Letter(Row, table=True):
    """One letter to one address, written in the transaction of what it tells. Its text is never rewritten."""

    __tablename__ = "letter"
    __table_args__ = (sa.Index("ix_letter_by_state", "state", "due_at"),)

    id: int | None = Field(default=None, primary_key=True)
    message_id: str = Field(unique=True)
    """Made once, so that whoever receives it twice by any way can tell."""
    to_address: str
    subject: str
    body: str
    about: str = ""
    """What it tells of, as history names it."""
    made_at: datetime = Field(sa_type=UTC)
    state: str
    due_at: datetime = Field(sa_type=UTC)
    """Not tried before."""
    tries: int = 0
    tried_at: datetime | None = Field(default=None, sa_type=UTC)
    tried_by: str = ""
    ended_at: datetime | None = Field(default=None, sa_type=UTC)
    trouble: str = ""
    """What the other side said last, when it was not a yes."""


LETTER_KEPT = ("message_id", "to_address", "subject", "body", "about", "made_at")
append_only(Letter, LETTER_KEPT)
