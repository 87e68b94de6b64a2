"""Tables of the notices: who wants a letter a day, which days were written, addresses of calendars."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class DigestChoice(Row, table=True):
    """Whether somebody wants the letter of the day; the newest row of a person holds, and none means no."""

    __tablename__ = "digest_choice"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    wanted: bool
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class DigestTurn(Row, table=True):
    """One person's day, done: with the letter's row in the same transaction, or with nothing to tell.

    The database takes each of them once, whoever writes it.
    """

    __tablename__ = "digest_turn"
    __table_args__ = (sa.UniqueConstraint("person_id", "day"),)

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id")
    day: date
    lines: int
    at: datetime = Field(sa_type=UTC)


class DueFeed(Row, table=True):
    """A secret address of somebody's due days; of its token only the hash is kept."""

    __tablename__ = "due_feed"

    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    prefix: str
    """Its first letters, by which its owner knows it again."""
    person_id: int = Field(foreign_key="person.id", index=True)
    made_at: datetime = Field(sa_type=UTC)
    revoked_at: datetime | None = Field(default=None, sa_type=UTC)


FEED_KEPT = ("key", "prefix", "person_id", "made_at")

append_only(DigestChoice)
append_only(DigestTurn)
append_only(DueFeed, FEED_KEPT)
