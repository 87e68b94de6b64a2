"""Tables of the photographs and drawings of a configuration. None is deleted; one can be marked withdrawn."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class Photograph(Row, table=True):
    """One photograph or drawing of a revision: of all of it, of one element, or of one lag of a run."""

    __tablename__ = "photograph"
    __table_args__ = (sa.Index("ix_photograph_of_revision", "cryostat_id", "revision"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    revision: int
    element_key: str | None = None
    lag_stage: str | None = None
    file_id: int = Field(foreign_key="stored_file.id")
    kind: str
    caption: str
    sent_name: str = ""
    """The name the file had where it came from, for people."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Withdrawal(Row, table=True):
    """Why a photograph no longer counts. It stays where it is, and says so."""

    __tablename__ = "photograph_withdrawal"

    id: int | None = Field(default=None, primary_key=True)
    photograph_id: int = Field(foreign_key="photograph.id", unique=True)
    reason: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(Photograph)
append_only(Withdrawal)
