"""Table of diagnoses that came true or did not: what was found, beside what was told before it was found."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row, append_only


class DiagnosisFinding(Row, table=True):
    """What was found behind one cooldown. The cause stands in the fault; a later finding adds a row."""

    __tablename__ = "diagnosis_finding"
    __table_args__ = (sa.Index("ix_diagnosis_finding_of_cooldown", "cooldown_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    cooldown_id: int = Field(foreign_key="cooldown.id")
    fault_id: int = Field(foreign_key="fault.id")
    cause: str
    words: str = ""
    told: list[dict[str, Any]] = Field(sa_type=sa.JSON)
    """The explanations then, likeliest first: `causes` by key, and `probability`."""
    at: datetime = Field(sa_type=UTC)
    by_name: str
    by_id: int | None = None


append_only(DiagnosisFinding)
