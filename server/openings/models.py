"""Tables of openings: each slip's moments, every entry made on it, its pictures.

An entry is never edited: one that was wrong is taken back by a later one, which names it and says why.
"""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Opening(Row, table=True):
    """One opening, from venting to closed. Its moments are those of its entries, kept for looking up."""

    __tablename__ = "opening"
    __table_args__ = (
        sa.UniqueConstraint("cryostat_id", "number"),
        sa.Index(
            "uq_opening_under_way",
            "cryostat_id",
            unique=True,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    number: int
    why: str
    draft_id: int | None = Field(default=None, foreign_key="draft.id")
    draft_version: int | None = None
    reservations: list[int] = Field(default_factory=list, sa_type=sa.JSON)
    """Promises of the stock room that this opening takes from first."""
    base_revision: int
    """The revision that was inside when the slip was begun."""
    begun_at: datetime = Field(sa_type=UTC)
    vented_at: datetime | None = Field(default=None, sa_type=UTC)
    opened_at: datetime | None = Field(default=None, sa_type=UTC)
    parked_at: datetime | None = Field(default=None, sa_type=UTC)
    """Since when the blank lid has been on; None while it is not."""
    built_at: datetime | None = Field(default=None, sa_type=UTC)
    closed_at: datetime | None = Field(default=None, sa_type=UTC)
    pumped_at: datetime | None = Field(default=None, sa_type=UTC)
    ended_at: datetime | None = Field(default=None, sa_type=UTC)
    open_s: float | None = None
    """How long air or gas was inside, without the time under the blank lid."""
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class OpeningEntry(Row, table=True):
    """One thing written down on a slip. `data` is SI."""

    __tablename__ = "opening_entry"
    __table_args__ = (
        sa.Index("ix_opening_entry_of_opening", "opening_id", "id"),
        sa.Index("ix_opening_entry_takes_back", "takes_back"),
    )

    id: int | None = Field(default=None, primary_key=True)
    opening_id: int = Field(foreign_key="opening.id")
    kind: str
    at: datetime = Field(sa_type=UTC)
    data: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    note: str = ""
    takes_back: int | None = Field(default=None, foreign_key="opening_entry.id")
    """The entry that no longer counts; this one says why."""
    recorded_at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class OpeningPicture(Row, table=True):
    """A photograph before or after, or a sketch."""

    __tablename__ = "opening_picture"
    __table_args__ = (sa.Index("ix_opening_picture_of_opening", "opening_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    opening_id: int = Field(foreign_key="opening.id")
    file_id: int = Field(foreign_key="stored_file.id")
    shows: str
    caption: str = ""
    sent_name: str = ""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


OPENING_KEPT = (
    "cryostat_id",
    "number",
    "why",
    "draft_id",
    "draft_version",
    "reservations",
    "base_revision",
    "begun_at",
    "recorded_at",
    "by_name",
    "by_id",
)
"""What of an opening no update may touch; only its later moments are set."""

append_only(Opening, OPENING_KEPT)
for model in (OpeningEntry, OpeningPicture):
    append_only(model)
