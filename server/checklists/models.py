"""Tables of checklists: the lists in versions, one gone through, and every answer. Nothing is rewritten."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class ListVersion(Row, table=True):
    """One version of a list of one cryostat. The newest holds; whoever answered an older one keeps it."""

    __tablename__ = "checklist_version"
    __table_args__ = (sa.UniqueConstraint("cryostat_id", "list_key", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    list_key: str
    number: int
    lines: list[dict[str, Any]] = Field(sa_type=sa.JSON)
    reason: str
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Checklist(Row, table=True):
    """One list gone through once, with its lines as they were worded and counted when it was begun."""

    __tablename__ = "checklist"
    __table_args__ = (sa.Index("ix_checklist_newest", "cryostat_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cryostat_id: int = Field(foreign_key="cryostat.id")
    version_id: int = Field(foreign_key="checklist_version.id")
    list_key: str
    about: str = ""
    """What it belongs to, in words: the opening, the cooldown, the newcomer."""
    revision: int
    """The revision whose lags, joints and windows became lines."""
    lines: list[dict[str, Any]] = Field(sa_type=sa.JSON)
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


class Answer(Row, table=True):
    """One answer to one line; the newest of a line counts, the earlier ones stay."""

    __tablename__ = "checklist_answer"
    __table_args__ = (sa.Index("ix_checklist_answer_of_line", "checklist_id", "line_key", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    checklist_id: int = Field(foreign_key="checklist.id")
    line_key: str
    text: str
    """The line as it was worded when it was answered."""
    outcome: str
    record: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    """What was asked: a value in SI, a count, words, the second person's name."""
    words: str = ""
    """Why it was left out, or what is wrong."""
    remarks: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    """What arithmetic says of a torque; never an approval."""
    fault_id: int | None = Field(default=None, foreign_key="fault.id")
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


for model in (ListVersion, Checklist, Answer):
    append_only(model)
