"""Tables of training: who works towards which grade, and what was seen of it."""

from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Training(Row, table=True):
    """One person on the way to one grade of one cryostat."""

    __tablename__ = "training"
    __table_args__ = (sa.Index("ix_training_of_cryostat", "cryostat_id", "signed_at"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    person_id: int = Field(foreign_key="person.id")
    person_name: str
    grade: int
    mentor: str
    next_on: date | None = None
    """The day that was agreed for the next step."""
    next_what: str = ""
    begun_at: datetime = Field(sa_type=UTC)
    signed_at: datetime | None = Field(default=None, sa_type=UTC)
    by_name: str
    by_id: int | None = None


class TrainingEntry(Row, table=True):
    """One line of a plan, gone through: what showed it, who was beside them, on which day."""

    __tablename__ = "training_entry"
    __table_args__ = (sa.Index("ix_training_entry_of_training", "training_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    training_id: int = Field(foreign_key="training.id")
    line_key: str
    evidence: str
    passed: bool
    trainer: str
    done_on: date
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(TrainingEntry)
